package readiness

import (
	"time"

	"rideout/service/fleet"
)

// use is what a piece of gear has borne by now.
func (c circumstances) use(g *Gear) fleet.Use { return fleet.UseOf(*g.Item, g.Lain, c.at) }

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

func (c circumstances) usedUp(g *Gear, limitH float64) *Finding {
	u := c.use(g)
	if u.StormHours < limitH {
		return nil
	}
	return &Finding{
		Text:  sentence("%s has borne %s hours of storm; the policy retires a %s after %s.", g.name(), hours(u.StormHours), g.Item.Kind, number(limitH)),
		Fix:   "Retire it and rig another.",
		Since: g.reachedSince(u.ReachedAt(g.Item.StormHours, limitH, stormHours)), Evidence: []Evidence{g.evidence(), g.useEvidence(), policyEvidence},
	}
}

func rodeUsedUp(c circumstances) []Finding {
	return c.rodes(func(g *Gear) *Finding { return c.usedUp(g, c.policy.RodeRetiredAfterStormH) })
}

func canopyUsedUp(c circumstances) (found []Finding) {
	for g := range c.aboard("canopy", true) {
		if f := c.usedUp(g, c.policy.CanopyRetiredAfterStormH); f != nil {
			found = append(found, *f)
		}
	}
	return found
}

// rodeFatigued judges by the middle of the band, as plans judge parts.
func rodeFatigued(c circumstances) []Finding {
	return c.rodes(func(g *Gear) *Finding {
		u, limit := c.use(g), c.policy.RodeRetiredAtFatigue
		if u.FatigueShare.Mid < limit {
			return nil
		}
		return &Finding{
			Text:  sentence("%s has used up %s of its life; the policy retires a rode at %s.", g.name(), percent(u.FatigueShare.Mid), percent(limit)),
			Fix:   "Retire it and rig another.",
			Since: g.reachedSince(u.ReachedAt(g.Item.FatigueShare, limit, fatigue)), Evidence: []Evidence{g.evidence(), g.useEvidence(), policyEvidence},
		}
	})
}
