package readiness

import (
	"time"
)

const yearH = 365.25 * 24

// rodes runs over the rodes rigged.
func (c circumstances) rodes(look func(*Gear) *Finding) (found []Finding) {
	for g := range c.aboard("rode", true) {
		if f := look(g); f != nil {
			found = append(found, *f)
		}
	}
	return found
}

// firstUsed is when a rode's age counts from: its first use, else its making, else what its figures say of its age when
// they were recorded.
func (g Gear) firstUsed() (time.Time, bool) {
	if at, ok := g.Item.FirstUsedOn.Time(); ok {
		return at, true
	}
	if at, ok := g.Item.MadeOn.Time(); ok {
		return at, true
	}
	if g.Item.Rode != nil && g.Item.Rode.AgeYears != nil {
		return g.Since.Add(-years(*g.Item.Rode.AgeYears)), true
	}
	return time.Time{}, false
}

func years(n float64) time.Duration { return time.Duration(n * yearH * float64(time.Hour)) }

func rodeAgeUnknown(c circumstances) []Finding {
	return c.rodes(func(g *Gear) *Finding {
		if _, known := g.firstUsed(); known {
			return nil
		}
		return &Finding{
			Text:  sentence("nobody has recorded how old %s is.", g.name()),
			Fix:   "Record when it was first used or made.",
			Since: &g.FirstSeen, Evidence: []Evidence{g.evidence()},
		}
	})
}

func rodeTooOld(c circumstances) []Finding {
	return c.rodes(func(g *Gear) *Finding {
		begin, known := g.firstUsed()
		end := begin.Add(years(c.policy.RodeRetiredAfterYears))
		if !known || c.at.Before(end) {
			return nil
		}
		return &Finding{
			Text: sentence("%s dates from %s; the policy retires a rode after %s years: on %s.",
				g.name(), day(begin), number(c.policy.RodeRetiredAfterYears), day(end)),
			Fix:   "Retire it and rig another.",
			Since: &end, Evidence: []Evidence{g.evidence(), policyEvidence},
		}
	})
}

// rodeChafed takes the share the figures give, as plans do, else what an inspection measured last.
func rodeChafed(c circumstances) []Finding {
	return c.rodes(func(g *Gear) *Finding {
		share, since, seen := 0.0, g.Since, []Evidence{g.evidence()}
		switch {
		case g.Item.Rode != nil && g.Item.Rode.ChafedShare != nil:
			share = *g.Item.Rode.ChafedShare
		case g.Chafe != nil:
			share, since = g.Chafe.Share, g.Chafe.At
			seen = append(seen, Inspection{ID: g.Chafe.InspectionID}.evidence())
		}
		if share < c.policy.RodeRetiredAtChafe {
			return nil
		}
		return &Finding{
			Text:  sentence("%s has worn through %s of its section at the worst place; the policy retires a rode at %s.", g.name(), percent(share), percent(c.policy.RodeRetiredAtChafe)),
			Fix:   "Cut the chafed length out and splice anew, then inspect it and record the rode as it is; or retire it and rig another.",
			Since: &since, Evidence: append(seen, policyEvidence),
		}
	})
}
