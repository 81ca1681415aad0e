package readiness

import (
	"fmt"
	"time"

	"rideout/service/physics/hardware"
)

// planMissing asks for a plan for a storm that stands.
func planMissing(c *circumstances, tell tell) {
	const fix = "Make a plan to ride out a storm for her as she is registered, in the weather of the policy's design storm."
	switch {
	case c.Plan == nil:
		tell(func() Finding {
			return Finding{
				Text: "No plan to ride out a storm has been made for her as registered.", Fix: fix,
				Since: &c.FirstSeen, Evidence: []Evidence{c.vesselEvidence()},
			}
		})
	case c.Plan.SupersededAt != nil:
		tell(func() Finding {
			return Finding{
				Text: sentence("another plan took the place of her last storm plan on %s, and it is no storm plan for her as registered.", day(*c.Plan.SupersededAt)), Fix: fix,
				Since: c.Plan.SupersededAt, Evidence: []Evidence{c.Plan.evidence(), c.vesselEvidence()},
			}
		})
	}
}

// planBelowStorm asks whether the plan answers for the design storm. Where no plan does, the state holds the newest.
func planBelowStorm(c *circumstances, tell tell) {
	storm := c.policy.DesignStorm
	if c.Plan == nil || c.Plan.SupersededAt != nil || c.Plan.reaches(storm) {
		return
	}
	tell(func() Finding {
		return Finding{
			Text: sentence("her newest storm plan answers for %s kt of wind and %s m of sea; the policy's design storm has %s kt and %s m.",
				number(c.Plan.WindKt), number(c.Plan.HsM), number(storm.WindSpeedKt), number(storm.HsM)),
			Fix:   "Make a plan in the weather of the design storm, and see whether her gear stands it.",
			Since: &c.Plan.MadeAt, Evidence: []Evidence{c.Plan.evidence(), policyEvidence},
		}
	})
}

// Words for what a plan says of the gear carried.
var (
	canopyWords = map[string]string{
		"small":        "the canopy carried is too small for the design storm",
		"large":        "the canopy carried loads a part beyond its capacity in the design storm",
		"not_carried":  "her plan was made without a canopy of hers",
		"not_possible": "no canopy suits her with the rest of her gear in the design storm",
	}
	rodeWords = map[string]string{
		"short":       "the rode carried is too short for the design storm",
		"weak":        "the rode carried is too weak for the design storm",
		"not_carried": "her plan was made without a rode of hers",
	}
)

func canopyUnsuited(c *circumstances, tell tell) {
	p := c.standing()
	if p == nil || p.CanopyVerdict == "suits" {
		return
	}
	tell(func() Finding {
		return p.says(canopyWords, "canopy", p.CanopyVerdict, "Carry the canopy the plan recommends, or change first what it names, then plan again.")
	})
}

func rodeUnsuited(c *circumstances, tell tell) {
	p := c.standing()
	if p == nil || p.RodeVerdict == "suits" {
		return
	}
	tell(func() Finding {
		return p.says(rodeWords, "rode", p.RodeVerdict, "Carry the rode the plan recommends, or change first what it names, then plan again.")
	})
}

// says is the finding that a plan's verdict makes.
func (p Plan) says(words map[string]string, what, verdict, fix string) Finding {
	text, ok := words[verdict]
	if !ok {
		text = fmt.Sprintf("of the %s carried her plan for the design storm says: %s", what, plain(verdict))
	}
	return Finding{
		Text: sentence("%s, says the plan of %s.", text, day(p.MadeAt)), Fix: fix,
		Since: &p.MadeAt, Evidence: []Evidence{p.evidence()},
	}
}

func partOver(c *circumstances, tell tell) {
	p := c.standing()
	if p == nil || p.PartVerdict != hardware.Over {
		return
	}
	tell(func() Finding {
		return Finding{
			Text:  sentence("in the design storm the weakest part, the %s, would bear %s of its capacity.", p.Part, percent(p.Use)),
			Fix:   "Read in the plan what to change first, change it, record the new gear, and plan again.",
			Since: &p.MadeAt, Evidence: []Evidence{p.evidence()},
		}
	})
}

func partOverAtHighEnd(c *circumstances, tell tell) {
	p := c.standing()
	if p == nil || p.PartVerdict == hardware.Over || p.UseHigh <= 1 {
		return
	}
	tell(func() Finding {
		return Finding{
			Text:  sentence("in the design storm the weakest part, the %s, is within its capacity at the middle estimate, but would bear %s of it at the high end.", p.Part, percent(p.UseHigh)),
			Fix:   "Read in the plan what to change first, or what to measure to narrow the estimate, then plan again.",
			Since: &p.MadeAt, Evidence: []Evidence{p.evidence()},
		}
	})
}

func partMarginal(c *circumstances, tell tell) {
	p := c.standing()
	if p == nil || p.PartVerdict != hardware.Marginal {
		return
	}
	tell(func() Finding {
		return Finding{
			Text:  sentence("in the design storm the weakest part, the %s, would bear %s of its capacity: within it, with little in hand.", p.Part, percent(p.Use)),
			Fix:   "Read in the plan what to change first: a stronger part, recorded and planned for, puts this right.",
			Since: &p.MadeAt, Evidence: []Evidence{p.evidence()},
		}
	})
}

// supportEnds is when each engine's support ended or will. An engine that is not here is supported. An end is written
// down before it comes, so that an answer as of an instant stays what it is in later releases.
var supportEnds = map[string]time.Time{
	// It knew neither bridle nor sea room, and no release calculated with it.
	"rideout-1": time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC),
}

func oldEngine(c *circumstances, tell tell) {
	p := c.standing()
	if p == nil {
		return
	}
	end, ends := supportEnds[p.Engine]
	if !ends || c.at.Before(end) {
		return
	}
	tell(func() Finding {
		return Finding{
			Text:  sentence("her plan of %s was calculated with %s, which is supported until %s and no longer.", day(p.MadeAt), p.Engine, day(end)),
			Fix:   "Make the plan again: the same request will be calculated with the engine of today.",
			Since: new(latest(end, p.MadeAt)), Evidence: []Evidence{p.evidence()},
		}
	})
}

func latest(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
