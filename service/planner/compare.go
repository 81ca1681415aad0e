package planner

import (
	"fmt"
	"math"

	"rideout/service/physics/canopy"
	"rideout/service/physics/hardware"
	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
	"rideout/service/physics/wind"
)

const practice = "common practice, no source"

// compare sets our figures beside tables and rules of thumb. A rule that does not cover the vessel
// is left out; none is ever mixed into a result.
func (c *computation) compare() error {
	c.compareLoads()
	c.compareCanopy()
	c.compareRode()
	return c.compareDrift()
}

func (c *computation) beside(what string, ours, reference float64, unit, source, comment string) {
	c.plan.Comparison = append(c.plan.Comparison, Comparison{what, significant(ours, 4), significant(reference, 4), unit, source, comment})
}

func (c *computation) compareLoads() {
	l := c.plan.Loads
	if a, err := wind.Anchoring(c.ship.Hull, c.ship.LOAM, c.ship.BeamM); err == nil {
		const source = "ABYC H-40 (7/03) design horizontal load by length, secondary copies"
		c.beside("steady load, against the anchoring table's working load (30 kt)", l.SteadyN.Mid, a.WorkingN, "N", source, "the table holds surge at anchor and is several times the windage; it is for ground tackle")
		c.beside("peak load, against the anchoring table's storm load (42 kt)", l.PeakN.Mid, a.StormN, "N", source, "a vessel on a sea anchor in a high sea sees other surges than one at anchor behind a shore")
	}
	if n, err := hardware.DrogueDesignLoadN(c.ship.DisplacementKg); err == nil {
		c.beside("load of a breaking crest, against the design load of a stern drogue", c.plan.Phases[c.worst].CrestStrikeN.Mid, n, "N", hardware.DrogueSource, "computed there for a breaking strike from astern on a drogue, not for a canopy over the bow")
	}
}

func (c *computation) compareCanopy() {
	ours := c.plan.Canopy.RecommendedDiameterM
	if d, err := canopy.ThumbDiameterM(c.ship.LOAM); err == nil {
		c.beside("canopy diameter, against 35 % of length overall", ours, d, "m", practice+", figure from memory", "a rule for single hulls; ours follows from windage, sea and the drift wished")
	}
	if low, high, err := canopy.UsualDiameterM(c.ship.LOAM); err == nil {
		c.beside("canopy diameter, against the usual least", ours, low, "m", "range of published sizes, derived", "27-40 % of length overall at 9 m falling to 18-28 % at 18 m")
		c.beside("canopy diameter, against the usual most", ours, high, "m", "range of published sizes, derived", "27-40 % of length overall at 9 m falling to 18-28 % at 18 m")
	}
}

func (c *computation) compareRode() {
	for i, s := range c.spells {
		w := customary(s.class)
		m, err := rode.CustomaryPayOutM(w, c.ship.LOAM, c.carriedM)
		if err != nil {
			continue
		}
		ours := c.paid(i)
		comment := "about the same"
		switch {
		case ours > 1.25*m:
			comment = "ours is longer: the shorter length would load a part beyond capacity, let the rode hang slack too long, or not let the canopy hang deep enough"
		case ours < 0.8*m:
			comment = "ours keeps every part within capacity and the rode taut enough; more is softer still, as the curve shows"
		}
		c.beside("rode to pay out in the "+words(classes[s.class].name)+" phase", ours, m, "m", practice, comment)
	}
	if m, err := rode.CustomaryLengthM(c.ship.LOAM); err == nil {
		c.beside("rode to carry", c.plan.Rode.RecommendedM, m, "m", practice, "about 90 m for small boats, 180 m for larger")
	}
}

func (c *computation) compareDrift() error {
	x := c.spells[c.worst].worst
	ours := c.plan.Loads.DriftKt.Mid
	c.beside("drift, against one mile an hour in a gale", ours, 1, "kt", practice, "on a right-sized canopy")
	class := hull.Leeway(c.ship.Hull)
	none := class.Drift(x.hour.windMS)
	c.beside("drift, against lying with nothing out", ours, quantity.Knots(none.Mid), "kt", hull.LeewaySource+", row "+class.Name,
		fmt.Sprintf("leeway without a sea anchor, %.1f to %.1f kt", quantity.Knots(none.Low), quantity.Knots(none.High)))
	heading := 30.0
	if c.ship.Hull.Sails() {
		heading = 75
	}
	if c.ship.Hull != hull.SailMultihull && c.request.Intent != SlowDrift {
		c.beside("heading off the wind", c.ship.heading.Degrees(), heading, "deg", practice, "power vessels lie about 30 degrees off the wind, sailing vessels about 75; loads here are for "+headingText(c.ship.heading))
	}
	if c.request.Assume.WindForceN != nil {
		return nil
	}
	hand := 0.0
	for _, p := range c.ship.windage {
		hand += p.FrontalAreaM2
	}
	kt := quantity.Knots(x.hour.windMS)
	const lbfPerFt2 = quantity.NewtonsPerPoundForce / (quantity.MetresPerFoot * quantity.MetresPerFoot)
	c.beside("wind force head-on, against 0.004 V2 per square foot", math.Round(x.windN), math.Round(0.004*kt*kt*lbfPerFt2*hand), "N", "handbook coefficient, V in knots, pounds-force on a square foot of frontal area", "one coefficient on all areas, no height")
	return nil
}
