package readiness

import (
	"time"

	"rideout/service/fleet"
)

// use is what a piece of gear has borne by now. Two rules ask it of a rode, one after the other.
func (c *circumstances) use(g *Gear) fleet.Use {
	if c.used.of != g {
		c.used.of, c.used.use = g, fleet.UseOf(*g.Item, g.Lain, c.at)
	}
	return c.used.use
}

// reachedSince is when a limit was reached: with a deployment, or else by what this version of the item says of its own.
func (g *Gear) reachedSince(at *time.Time) *time.Time {
	if at == nil {
		return &g.Since
	}
	return at
}

func (g Gear) useEvidence() Evidence {
	return Evidence{"what it has borne", "/v1/gear/" + g.ID.String() + "/use"}
}

func stormHours(d fleet.DeploymentUse) float64 { return d.StormHours }

func fatigue(d fleet.DeploymentUse) float64 { return d.FatigueShare.Mid }

func (c *circumstances) usedUp(g *Gear, limitH float64, tell tell) {
	u := c.use(g)
	if u.StormHours < limitH {
		return
	}
	tell(func() Finding {
		return Finding{
			Text:  sentence("%s has borne %s hours of storm; the policy retires a %s after %s.", g.name(), hours(u.StormHours), g.Item.Kind, number(limitH)),
			Fix:   "Retire it and rig another.",
			Since: g.reachedSince(u.ReachedAt(g.Item.StormHours, limitH, stormHours)), Evidence: []Evidence{g.evidence(), g.useEvidence(), policyEvidence},
		}
	})
}

func rodeUsedUp(c *circumstances, tell tell) {
	for g := range c.rodes() {
		c.usedUp(g, c.policy.RodeRetiredAfterStormH, tell)
	}
}

func canopyUsedUp(c *circumstances, tell tell) {
	for g := range c.aboard("canopy", true) {
		c.usedUp(g, c.policy.CanopyRetiredAfterStormH, tell)
	}
}

// rodeFatigued judges by the middle of the band, as plans judge parts.
func rodeFatigued(c *circumstances, tell tell) {
	for g := range c.rodes() {
		u, limit := c.use(g), c.policy.RodeRetiredAtFatigue
		if u.FatigueShare.Mid < limit {
			continue
		}
		tell(func() Finding {
			return Finding{
				Text:  sentence("%s has used up %s of its life; the policy retires a rode at %s.", g.name(), percent(u.FatigueShare.Mid), percent(limit)),
				Fix:   "Retire it and rig another.",
				Since: g.reachedSince(u.ReachedAt(g.Item.FatigueShare, limit, fatigue)), Evidence: []Evidence{g.evidence(), g.useEvidence(), policyEvidence},
			}
		})
	}
}
