package readiness

import (
	"iter"
	"time"
)

const yearH = 365.25 * 24

// rodes gives the rodes rigged.
func (c *circumstances) rodes() iter.Seq[*Gear] { return c.aboard("rode", true) }

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

func rodeAgeUnknown(c *circumstances, tell tell) {
	for g := range c.rodes() {
		if _, known := g.firstUsed(); known {
			continue
		}
		tell(func() Finding {
			return Finding{
				Text:  sentence("nobody has recorded how old %s is.", g.name()),
				Fix:   "Record when it was first used or made.",
				Since: &g.FirstSeen, Evidence: []Evidence{g.evidence()},
			}
		})
	}
}

func rodeTooOld(c *circumstances, tell tell) {
	for g := range c.rodes() {
		begin, known := g.firstUsed()
		end := begin.Add(years(c.policy.RodeRetiredAfterYears))
		if !known || c.at.Before(end) {
			continue
		}
		tell(func() Finding {
			return Finding{
				Text: sentence("%s dates from %s; the policy retires a rode after %s years: on %s.",
					g.name(), day(begin), number(c.policy.RodeRetiredAfterYears), day(end)),
				Fix:   "Retire it and rig another.",
				Since: new(end), Evidence: []Evidence{g.evidence(), policyEvidence},
			}
		})
	}
}

// rodeChafed takes the greater of what the figures say and what an inspection measured last, as plans do.
func rodeChafed(c *circumstances, tell tell) {
	for g := range c.rodes() {
		share, measured := 0.0, (*Chafe)(nil)
		if g.Item.Rode != nil && g.Item.Rode.ChafedShare != nil {
			share = *g.Item.Rode.ChafedShare
		}
		if g.Chafe != nil && g.Chafe.Share > share {
			share, measured = g.Chafe.Share, g.Chafe
		}
		if share < c.policy.RodeRetiredAtChafe {
			continue
		}
		tell(func() Finding {
			since, seen := &g.Since, []Evidence{g.evidence()}
			if measured != nil {
				since, seen = &measured.At, append(seen, Inspection{ID: measured.InspectionID}.evidence())
			}
			return Finding{
				Text:  sentence("%s has worn through %s of its section at the worst place; the policy retires a rode at %s.", g.name(), percent(share), percent(c.policy.RodeRetiredAtChafe)),
				Fix:   "Cut the chafed length out and splice anew, then inspect it and record the rode as it is; or retire it and rig another.",
				Since: since, Evidence: append(seen, policyEvidence),
			}
		})
	}
}
