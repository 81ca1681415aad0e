package planner

import (
	"fmt"
	"math"
	"slices"

	"rideout/service/physics/bridle"
	"rideout/service/physics/hardware"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
)

func (c *computation) hardware() (err error) {
	c.plan.Hardware, err = judge(c.chain, c.demand().Mid, c.policy.Factors)
	if err != nil {
		return err
	}
	for i := range c.plan.Hardware {
		p := &c.plan.Hardware[i]
		p.CapacityN, p.DemandN, p.Use = math.Round(p.CapacityN), math.Round(p.DemandN), r3(p.Use)
	}
	return nil
}

// demand is the greatest peak of any phase, at each end: what the gear must bear. More rode is out in the phase with the
// hardest weather, so that it need not be the one with the greatest load.
func (c *computation) demand() Band {
	d := c.plan.Loads.PeakN
	for _, p := range c.plan.Phases {
		d.Low, d.Mid, d.High = math.Max(d.Low, p.Loads.PeakN.Low), math.Max(d.Mid, p.Loads.PeakN.Mid), math.Max(d.High, p.Loads.PeakN.High)
	}
	return d
}

// governing is the part with the greatest use.
func (c *computation) governing() Part {
	i := slices.IndexFunc(c.plan.Hardware, func(p Part) bool { return p.Governing })
	return c.plan.Hardware[i]
}

func (c *computation) canopyAdvice() error {
	x := c.spells[c.worst].worst
	a := &c.plan.Canopy
	a.Shape, a.RecommendedDiameterM, a.UsedDiameterM = string(c.rig.canopy.Shape()), c.bestM, c.rig.canopy.DiameterM()
	a.DepthM, a.NeededDepthM = r1(x.depthOn(c.paid(c.worst))), r1(x.neededM)
	c.warnOfDepth(x)
	for i := range c.sizes {
		c.sizes[i].YawDeg = each(c.sizes[i].YawDeg, math.Round)
		c.sizes[i].DriftKt, c.sizes[i].PeakN = r2(c.sizes[i].DriftKt), math.Round(c.sizes[i].PeakN)
	}
	a.Sizes = c.sizes
	filling, err := c.rig.canopy.FillingLoad(c.ship.massKg(), quantity.MetresPerSecond(math.Max(2*c.plan.Loads.DriftKt.Mid, 1)))
	if err != nil {
		return err
	}
	a.FillingLoadN = each(filling.PeakN, math.Round)
	a.Verdict, a.Reason = c.canopyVerdict()
	if c.rig.canopyCarried {
		d := c.rig.canopy.DiameterM()
		a.CarriedDiameterM = &d
	}
	return nil
}

func (c *computation) canopyVerdict() (verdict, reason string) {
	wish := quantity.Knots(c.wishMS)
	drift, peak := c.plan.Loads.DriftKt.Mid, c.demand().Mid
	suits := slices.ContainsFunc(c.sizes, func(s CanopySize) bool { return s.Verdict == "suits" })
	yaw := c.yawText()
	switch {
	case !c.rig.canopyCarried && !suits:
		return "not_possible", fmt.Sprintf("No stock size keeps the drift below %.1f kt with every part within capacity: %.1f m is the smallest that keeps the drift; strengthen the weakest part first.", wish, c.bestM) + yaw
	case !c.rig.canopyCarried:
		return "not_carried", fmt.Sprintf("%.1f m is the smallest stock size that keeps the drift below %.1f kt with every part within capacity.", c.bestM, wish) + yaw
	case c.keepsBowUp && c.yawDeg.High > c.policy.YawLimitDeg:
		return "small", fmt.Sprintf("The %.1f m carried does not keep the bow up; %.1f m is the smallest stock size that suits.", c.rig.canopy.DiameterM(), c.bestM) + yaw
	case drift > wish*1.005:
		return "small", fmt.Sprintf("The %.1f m carried drifts at %.2f kt, more than the %.2f kt wished; %.1f m would keep it.", c.rig.canopy.DiameterM(), drift, wish, c.bestM) + yaw
	case peak > c.capacityN && c.bestM < c.rig.canopy.DiameterM() && suits:
		return "large", fmt.Sprintf("The %.1f m carried keeps the drift but loads a part beyond capacity; %.1f m keeps both.", c.rig.canopy.DiameterM(), c.bestM) + yaw
	}
	return "suits", fmt.Sprintf("The %.1f m carried drifts at %.2f kt, within the %.2f kt wished.", c.rig.canopy.DiameterM(), drift, wish) + yaw
}

// yawText says how far the bow falls off on this canopy.
func (c *computation) yawText() string {
	if !c.keepsBowUp {
		return ""
	}
	return fmt.Sprintf(" On a single rode the bow falls %.0f degrees off the wind at most (%.0f to %.0f) when the wind shifts by %.0f and the sea has not followed; the limit is %.0f at the high end. Sheering about on the waves is not in that.",
		c.yawDeg.Mid, c.yawDeg.Low, c.yawDeg.High, bridle.GustShift.Value, c.policy.YawLimitDeg)
}

func (c *computation) rodeAdvice() {
	a := &c.plan.Rode
	s := c.rig.strength
	a.PayOutM, a.Construction, a.DiameterMM = c.paid(c.worst), string(c.rig.rode.Construction), c.rig.rode.DiameterMM
	a.BreakingNewN, a.BreakingUsedN = math.Round(s.NewN.Low), math.Round(s.AsUsedN.Low)
	a.WorkingLoadN = math.Round(s.AsUsedN.Low / c.policy.Factors.RopeFactor)
	if c.rig.rodeCarried {
		l := c.carriedM
		a.CarriedM = &l
	}
	total := Band{}
	for _, p := range c.plan.Phases {
		total = Band{Low: total.Low + p.FatigueShare.Low, Mid: total.Mid + p.FatigueShare.Mid, High: total.High + p.FatigueShare.High}
	}
	a.FatigueShare = each(total, sig3)
	for _, s := range c.curve {
		l := s.bands(Band{}, Band{})
		a.Curve = append(a.Curve, RodeLength{
			LengthM: s.lengthM, MeanN: each(l.MeanN, math.Round), StandardDeviationN: each(l.StandardDeviationN, math.Round),
			PeakN: each(l.PeakN, math.Round), SlackShare: each(l.SlackShare, r3), Use: each(l.PeakN.Scale(1/c.capacityN), r3),
		})
	}
	a.Verdict, a.Reason = c.rodeVerdict()
}

func (c *computation) rodeVerdict() (verdict, reason string) {
	a := c.plan.Rode
	governing := c.governing()
	enough := ""
	for _, how := range []fit{fitsMiddle, fitsBand} { // the better word last
		longer := slices.IndexFunc(c.tried(), func(t tried) bool {
			return t.lengthM > c.carriedM && t.fit(c.capacityN, c.policy.SlackLimit) >= how
		})
		if longer >= 0 && how == fitsBand {
			enough = fmt.Sprintf("about %.0f m would to the high end", c.curve[longer].lengthM)
		} else if longer >= 0 {
			enough = fmt.Sprintf("about %.0f m would at the middle estimate", c.curve[longer].lengthM)
		}
	}
	switch {
	case !c.rig.rodeCarried:
		return "not_carried", fmt.Sprintf("Carry at least %.0f m of %.0f mm three-strand nylon, spliced on thimbles.", a.RecommendedM, a.RecommendedMM)
	case c.fits[c.worst] == fitsBand:
		return "suits", fmt.Sprintf("%.0f m paid out keep every part within capacity in the worst phase (%s %.0f %% used, %.0f %% at the high end) and the rode slack for less than %.0f %% of the time.",
			a.PayOutM, governing.Part, 100*governing.Use, 100*c.plan.Loads.PeakN.High/c.capacityN, 100*c.policy.SlackLimit)
	case c.fits[c.worst] == fitsMiddle:
		reason = fmt.Sprintf("%.0f m paid out keep every part within capacity and the rode taut enough in the worst phase at the middle estimate (%s %.0f %% used), but not at the high end (%.0f %%).",
			a.PayOutM, governing.Part, 100*governing.Use, 100*c.plan.Loads.PeakN.High/c.capacityN)
		if enough != "" {
			reason += " No length carried does that; " + enough + "."
		}
		return "suits", reason
	case enough != "":
		return "short", fmt.Sprintf("No length carried keeps every part within capacity and the rode taut enough in the worst phase; %s.", enough)
	}
	return "weak", fmt.Sprintf("Even all %.0f m leave %s at %.0f %% of its capacity, or the rode slack for %.0f %% of the time, in the worst phase; %.0f m of %.0f mm three-strand nylon, spliced on thimbles, would do for the rope itself.",
		c.carriedM, governing.Part, 100*governing.Use, 100*c.plan.Loads.SlackShare.Mid, a.RecommendedM, a.RecommendedMM)
}

func (c *computation) recommend() error {
	a := c.plan.Rode
	set := []SetItem{
		{"canopy", fmt.Sprintf("flat circular, %.1f m", c.bestM), fmt.Sprintf("smallest stock size that drifts at most %.1f kt", quantity.Knots(c.wishMS))},
		{"rode", fmt.Sprintf("%.0f m of %.0f mm three-strand nylon, thimbled splice at both ends", math.Ceil(math.Max(a.RecommendedM, reserveRode*c.mostRode().PayOutM)/10)*10, a.RecommendedMM), "keeps the peak within the working load with some rode in reserve"},
	}
	shackle := "ask a rigger: none of the table bears the peak"
	for _, mm := range stockShackleMM {
		n, _, err := hardware.ShackleWLLN(mm)
		if err != nil {
			return err
		}
		if n*recommendedUse >= c.demand().Mid {
			shackle = fmt.Sprintf("%.0f mm body, forged, working load %s kN", mm, kilo(n))
			break
		}
	}
	c.plan.Recommended = append(set,
		SetItem{"shackles", shackle, "working load above the peak with a fifth in reserve; pins moused"},
		SetItem{"swivel", fmt.Sprintf("working load at least %s kN", kilo(c.demand().Mid/recommendedUse)), "lets the canopy turn without turning the rode; the maker's figure counts"},
		SetItem{"weight at the canopy", c.endWeight(), "holds the canopy below the troughs"},
		SetItem{"trip line and float", fmt.Sprintf("floating line of at least %.0f m, float of at least 300 N", c.tripLineM()), "brings the canopy back mouth first; sizes are common practice, no source"},
		SetItem{"chafe gear", "at the fairlead and wherever the rode touches, with spares", "chafe parts more rodes than load does; common practice, no source"},
		SetItem{"strong point", fmt.Sprintf("working load at least %s kN", kilo(c.demand().Mid/recommendedUse)), "must bear the peak; ask the builder"},
	)
	return nil
}

// endWeight is the weight that holds the canopy at the depth needed in the worst phase's steady pull.
func (c *computation) endWeight() string {
	x := c.spells[c.worst].worst
	n, err := c.endWeightN()
	switch {
	case err != nil: // outside the statics
		return fmt.Sprintf("the maker's float line at %.0f m", x.neededM)
	case n <= 0:
		return fmt.Sprintf("none: the rode's own weight carries the canopy to %.0f m", x.neededM)
	}
	return fmt.Sprintf("about %.0f N in water (chain or sinker), or a float line of %.0f m", n, x.neededM)
}

func (c *computation) endWeightN() (float64, error) {
	x := c.spells[c.worst].worst
	h := rode.Hang{PullN: math.Max(c.plan.Loads.SteadyN.Mid, 1), RodeWeightNM: c.rig.weightNM, LengthM: c.paid(c.worst)}
	return h.EndWeightN(math.Min(x.neededM, 0.6*h.LengthM))
}
