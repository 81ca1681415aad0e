package planner

import (
	"math"
	"slices"

	"rideout/service/physics/quantity"
	"rideout/service/physics/seaway"
)

// warnOfDepth says when the chain carried holds the canopy too high.
func (c *computation) warnOfDepth(x situation) {
	depth := x.depthOn(c.paid(c.worst))
	if x.sinkerN == 0 || depth >= 0.95*x.neededM {
		return
	}
	c.book.warn("canopy_shallow", "At the steady pull the chain carried holds the canopy about %.1f m down; its rim needs %.0f m to stay below the troughs. It may break the surface and collapse: %s.", depth, x.neededM, c.endWeight())
}

// warnOfSea names the limits a forecast touches.
func (c *computation) warnOfSea() {
	steep, shallow := 0, 0
	for _, h := range c.hours {
		if h.hsM >= 0.5 {
			if limit, err := seaway.SteepestSea(h.tpS); err == nil {
				if got := 2 * math.Pi * h.hsM / (9.80665 * h.tpS * h.tpS); got > limit {
					steep++
				}
			}
		}
		if k, err := seaway.Wavelength(h.tpS, math.Inf(1)); err == nil && h.depthM < k/2 {
			shallow++
		}
	}
	if steep > 0 {
		c.book.warn("sea_steeper_than_known", "In %s the sea is steeper than whole seas are known to keep: check the wave height and period.", plural(steep, len(c.hours)))
	}
	if shallow > 0 {
		c.book.warn("water_not_deep", "In %s the water is shallower than half a wave: waves are steeper and break sooner there than the deep-water figures used here say.", plural(shallow, len(c.hours)))
	}
	if h := windiest(c.hours); quantity.Knots(h.windMS) > 80 {
		c.book.warn("wind_extreme", "Above 80 kt neither windage coefficients nor wave growth have been measured: the figures are carried on, not known.")
	}
}

func (c *computation) closingWarnings() {
	c.warnOfRodeOut()
	g := c.governing()
	if over := c.demand().High / c.capacityN; g.Use <= 1 && over > 1 {
		at := slices.IndexFunc(c.plan.Phases, func(p Phase) bool { return p.Loads.PeakN.High == c.demand().High })
		c.book.warn("over_capacity_at_high_end", "At the high end of the band %s would be at %.0f %% of its capacity in the %s.", g.Part, 100*over, words(c.plan.Phases[at].Name))
	}
	if g.Use > 1 {
		at := slices.IndexFunc(c.plan.Phases, func(p Phase) bool { return p.Loads.PeakN.Mid == c.demand().Mid })
		c.book.warn("over_capacity", "%s is loaded to %.0f %% of its capacity in the %s: change it, or do not rely on this set in this forecast.", g.Part, 100*g.Use, words(c.plan.Phases[at].Name))
	}
	if !c.rig.canopy.ToleratesSlack() && c.plan.Loads.SlackShare.Mid > 0.05 {
		c.book.warn("canopy_slack", "The rode hangs slack for %.0f %% of the time, and a canopy of this size and shape may collapse when it does.", 100*c.plan.Loads.SlackShare.Mid)
	}
	if c.request.Intent == RideOutStorm && (c.request.Gear == nil || c.request.Gear.TripLine == nil) {
		c.book.warn("no_trip_line", "No trip line is named: without one the canopy must be hauled back against its load, or cut away.")
	}
	switch b := c.plan.Bridle; {
	case b.Verdict == "no_second_point":
		c.book.warn("no_second_point", "The heading wished needs a bridle, and no strong point given can take its second leg: the loads are for that heading, but she would lie %.0f degrees off the wind.", b.HeadingDeg)
	case !b.Stable:
		c.book.warn("heading_not_stable", "She does not stay at the heading: expect her to sheer about.")
	}
}
