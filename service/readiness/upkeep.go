package readiness

import (
	"iter"
	"slices"
	"time"
)

// inspected are the kinds of gear that are inspected: what bears load, and the float. Our choice.
var inspected = []string{"canopy", "rode", "shackle", "swivel", "chain", "bridle", "trip_line", "float"}

// toInspect gives the gear rigged that is to be inspected.
func (c *circumstances) toInspect() iter.Seq[*Gear] {
	return func(yield func(*Gear) bool) {
		for i := range c.Gear {
			if g := &c.Gear[i]; g.Item.InUse(c.at) && slices.Contains(inspected, g.Item.Kind) && !yield(g) {
				return
			}
		}
	}
}

func neverInspected(c *circumstances, tell tell) {
	for g := range c.toInspect() {
		if g.Inspection != nil {
			continue
		}
		tell(func() Finding {
			return Finding{
				Text: sentence("%s has never been inspected.", g.name()), Fix: "Inspect it and record what was found.",
				Since: &g.FirstSeen, Evidence: []Evidence{g.evidence()},
			}
		})
	}
}

func inspectionOverdue(c *circumstances, tell tell) {
	for g := range c.toInspect() {
		due, ok := overdue(g.Inspection, c.policy.InspectEveryMonths, c.at)
		if !ok {
			continue
		}
		tell(func() Finding {
			return Finding{
				Text: sentence("%s was last inspected on %s; the policy asks for it every %s: due on %s.",
					g.name(), day(g.Inspection.At), months(c.policy.InspectEveryMonths), day(due)),
				Fix: "Inspect it and record what was found.", Since: new(due), Evidence: []Evidence{g.evidence(), g.Inspection.evidence(), policyEvidence},
			}
		})
	}
}

// overdue tells when an inspection fell due again, and whether it has.
func overdue(last *Inspection, every int, at time.Time) (due time.Time, is bool) {
	if last == nil {
		return due, false
	}
	due = after(last.At, every)
	return due, !at.Before(due)
}

func inspectionFailed(c *circumstances, tell tell) {
	for g := range c.toInspect() {
		if g.Inspection == nil || g.Inspection.Verdict != "repair" && g.Inspection.Verdict != "retire" {
			continue
		}
		tell(func() Finding {
			f := Finding{
				Text:  sentence("%s was found in need of repair on %s.", g.name(), day(g.Inspection.At)),
				Fix:   "Repair it, inspect it again and record what was found; or retire it and rig another.",
				Since: &g.Inspection.At, Evidence: []Evidence{g.evidence(), g.Inspection.evidence()},
			}
			if g.Inspection.Verdict == "retire" {
				f.Text = sentence("%s was found unfit for further use on %s, and is still rigged.", g.name(), day(g.Inspection.At))
				f.Fix = "Retire it and rig another."
			}
			return f
		})
	}
}

func inspectionWatch(c *circumstances, tell tell) {
	for g := range c.toInspect() {
		if g.Inspection == nil || g.Inspection.Verdict != "watch" {
			continue
		}
		tell(func() Finding {
			return Finding{
				Text:  sentence("%s is to be watched, says the inspection of %s.", g.name(), day(g.Inspection.At)),
				Fix:   "Read what the inspection found, put it right, inspect again.",
				Since: &g.Inspection.At, Evidence: []Evidence{g.evidence(), g.Inspection.evidence()},
			}
		})
	}
}

func neverDrilled(c *circumstances, tell tell) {
	if c.Drill != nil {
		return
	}
	tell(func() Finding {
		return Finding{
			Text: "No drill with the sea anchor is recorded for her.", Fix: "Hold a drill with the gear in hand and record it.",
			Since: &c.FirstSeen, Evidence: []Evidence{{"drills of the vessel", vesselPath(c.ID) + "/drills"}},
		}
	})
}

func drillOverdue(c *circumstances, tell tell) {
	if c.Drill == nil {
		return
	}
	due := after(c.Drill.At, c.policy.DrillEveryMonths)
	if c.at.Before(due) {
		return
	}
	tell(func() Finding {
		return Finding{
			Text: sentence("the last drill aboard was on %s; the policy asks for one every %s: due on %s.",
				day(c.Drill.At), months(c.policy.DrillEveryMonths), day(due)),
			Fix:   "Hold a drill with the gear in hand and record it.",
			Since: new(due), Evidence: []Evidence{{"drill", "/v1/drills/" + c.Drill.ID.String()}, policyEvidence},
		}
	})
}
