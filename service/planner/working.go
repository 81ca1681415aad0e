package planner

import (
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/motion"
	"rideout/service/physics/quantity"
	"rideout/service/physics/seaway"
	"rideout/service/physics/wind"
)

// working writes the steps of the worst phase, so that an engineer can follow them by hand. Values
// are unrounded or to six digits: what is printed gives the next line.
func (c *computation) working() error {
	x := c.spells[c.worst].worst
	s := c.studies[c.worst]
	system, err := x.system(s.lengthM, s.kr.Band, allMid)
	if err != nil {
		return err
	}
	steady, err := system.Steady()
	if err != nil {
		return err
	}
	c.workWind(x)
	c.workSea(x)
	c.workForces(x, system, steady)
	c.workRode(system, steady, s)
	c.workPeak(s)
	for i := range c.book.working {
		for j := range c.book.working[i].Values {
			v := &c.book.working[i].Values[j]
			v.Value = significant(v.Value, 6)
		}
	}
	return nil
}

func (c *computation) workWind(x situation) {
	b := &c.book
	u := x.hour.windMS
	b.work("wind", "Wind for the load", "U(T,z) = U10 [1 + 0.137 ln(z/10) - 0.047 ln(T/600)]", "DNV-RP-C205 (2010) eq. 2.3.2.11, from memory",
		val("U10", "10 min mean at 10 m, the worst hour", u, "m/s"), val("T", "averaging time", wind.DesignAveragingS, "s"),
		result("U(60 s, 10 m)", "60 s mean at 10 m", x.windMS, "m/s"))
	for _, p := range c.ship.windage {
		at, err := wind.At(u, math.Max(p.CentreHeightM, 0.1), wind.DesignAveragingS)
		if err != nil {
			continue // outside the profile: the force itself has reported it
		}
		b.work("wind", "Force on the "+p.Name+", head-on", "F = 1/2 rho Cd A U^2", "definition of the drag coefficient",
			val("rho", "density of air", constant.AirDensity.Value, "kg/m3"), val("Cd", "shape coefficient", p.ShapeCoefficient, ""),
			val("A", "frontal area", p.FrontalAreaM2, "m2"), val("z", "height of its centre", p.CentreHeightM, "m"), val("U", "60 s mean there", at, "m/s"),
			result("F", "force", 0.5*constant.RhoAir*p.ShapeCoefficient*p.FrontalAreaM2*at*at, "N"))
	}
	b.work("wind", "Wind force along the wind at the heading", "sum over the parts, turned to the heading", "see the parts",
		val("psi", "heading off the wind", c.ship.heading.Degrees(), "deg"), result("Fw", "wind force", x.windN, "N"))
}

func (c *computation) workSea(x situation) {
	h := x.hour
	if x.flat {
		c.book.work("sea", "Sea", "none to speak of", "forecast", val("Hs", "significant wave height", h.totalHsM(), "m"))
		return
	}
	length, _ := seaway.Wavelength(h.peakS(), math.Inf(1))
	c.book.work("sea", "Spectrum", "JONSWAP, m0 = Hs^2/16; gamma = exp(5.75 - 1.15 Tp/sqrt(Hs)) between 1 and 5", "Hasselmann et al. (1973); gamma by DNV-RP-C205 sec. 3.5.5, from memory",
		val("Hs", "significant wave height", h.totalHsM(), "m"), val("Tp", "peak period", h.peakS(), "s"), val("gamma", "peak enhancement", seaway.Gamma(h.hsM, h.tpS), ""),
		result("m0", "variance of the surface", x.screened.Moment(0), "m2"), result("Tz", "zero-crossing period", x.screened.ZeroCrossingPeriodTz(), "s"),
		result("L", "length of the peak's wave, g Tp^2/(2 pi)", length, "m"), result("c", "speed of its crest", motion.CrestSpeedMS(h.peakS()), "m/s"))
	c.book.work("sea", "Mean wave drift", "F = integral of 2 S(w) 1/2 rho g R2(w) b dw, R2 = 1/(1 + (lambda/(n l))^4)", "Maruo (1960); R2 between its limits is our interpolation; at a heading, that of the bow times cos^3 and of the side times sin^3",
		val("b", "breadth across the waves, bow-to", c.ship.BeamM, "m"), val("l", "waterline length", c.ship.hull.LWLM, "m"),
		result("Fd low", "with half the waves thrown back at the low length", x.driftN.Low, "N"), result("Fd", "middle", x.driftN.Mid, "N"), result("Fd high", "high", x.driftN.High, "N"))
	c.book.work("sea", "Surface drift at the hull over that at the canopy", "us = integral of 2 w k S exp(-2 k z) dw, at half the draught less at the canopy's depth", "Kenyon (1969) Stokes drift of a spectrum",
		val("z", "depth of the canopy", x.depthM, "m"), result("us", "difference of drift", x.surface, "m/s"))
}

func (c *computation) workForces(x situation, s motion.System, st motion.Steady) {
	wind := s.WindN
	if s.WindMS > 0 {
		wind *= math.Pow(1-st.DriftMS/s.WindMS, 2)
	}
	rel := s.SurfaceDriftMS - st.DriftMS
	hullN := 0.5 * constant.RhoWater * s.HullDragAreaM2 * rel * math.Abs(rel)
	horizontal := 0.5 * constant.RhoWater * s.CanopyDragAreaM2 * st.DriftMS * st.DriftMS
	c.book.work("steady", "Balance in wind and current of the waves, without their motion", "Fw (1 - v/U)^2 + Fd + 1/2 rho CdA (us - v)|us - v| = 1/2 rho Cd0 S0 v^2", "derived here",
		val("Fw", "wind force at rest", s.WindN, "N"), val("Fd", "wave drift", s.WaveDriftN, "N"), val("CdA", "hull drag area", s.HullDragAreaM2, "m2"), val("us", "surface drift", s.SurfaceDriftMS, "m/s"),
		val("Cd0", "canopy drag coefficient", x.rig.canopy.Cd0().Mid, ""), val("D0", "canopy diameter", x.rig.canopy.DiameterM(), "m"), val("S0", "canopy area, pi D0^2/4", x.rig.canopy.NominalAreaM2(), "m2"),
		result("v", "drift through the water", st.DriftMS, "m/s"), result("v kt", "the same in knots", quantity.Knots(st.DriftMS), "kt"),
		result("wind", "wind force at that drift", wind, "N"), result("hull", "hull resistance (negative holds back)", hullN, "N"), result("canopy", "drag of the canopy", horizontal, "N"))
	c.book.work("steady", "Pull in the rode", "T = canopy drag / cos(theta), sin(theta) = h/chord", "statics of a straight rode",
		val("h", "depth of the canopy", s.CanopyDepthM, "m"), val("L", "rode paid out", s.RodeLengthM, "m"), val("e", "stretch", st.Stretch, ""),
		result("T", "steady pull", st.TensionN, "N"))
}

func (c *computation) workRode(s motion.System, st motion.Steady, study study) {
	g := c.rig
	values := []WorkingValue{val("new", "breaking load, new and dry", g.strength.NewN.Mid, "N")}
	for _, f := range g.strength.Factors {
		values = append(values, val(f.Name, "share retained", f.Value.Mid, ""))
	}
	values = append(values, result("Fb", "breaking load as used, middle", g.strength.AsUsedN.Mid, "N"), result("Fb low", "the same at its low end, which capacity is taken from", g.strength.AsUsedN.Low, "N"))
	c.book.work("rode", "Strength as used", "Fb = new x factors, the worst termination once", g.strength.NewSource, values...)
	c.book.work("rode", "Static curve", "Ts = Fb (a e + b e^3)", "breaks at 50 % stretch, published; a is our choice",
		val("a", "first coefficient", g.curve.A, ""), val("b", "second coefficient", g.curve.B, ""), val("e", "stretch at the steady pull", st.Stretch, ""),
		result("Ts", "steady tension", g.curve.Tension(st.Stretch), "N"), result("Ts'/Fb", "slope there", g.curve.Stiffness(st.Stretch)/g.curve.BreakingN, ""))
	c.book.work("rode", "Dynamic stiffness", "Kr = 2.08 + 0.39 Lm - 0.21 La for laid and plaited nylon, 3.54 for double braid; Kd = Kr - Ts'/Fb", stiffnessSource(study.kr),
		val("Kr", "total stiffness, middle", study.kr.Mid, "breaking loads"), val("Kr low", "low end", study.kr.Low, "breaking loads"), val("Kr high", "high end", study.kr.High, "breaking loads"),
		val("tau", "relaxation time", s.Rode.TauS, "s"), result("Kd", "what cycling adds", s.Rode.KdFb, "breaking loads"),
		result("k", "stiffness of the rode paid out, Kr Fb/L", study.kr.Mid*g.curve.BreakingN/s.RodeLengthM, "N/m"))
}

func (c *computation) workPeak(s study) {
	l := s.loads[1]
	c.book.work("motion", "Two bodies on the rode in an irregular sea", "M w' = Fw (1 - (w+u)/U)^2 + Fd + hull drag - T cos(theta); Mc wc' = T cos(theta) - canopy drag; d' = w + u - wc - uc; T = Ts(e) + q, q' = Kd Fb e' - q/tau", "derived here; integrated by the Runge-Kutta method of fourth order",
		val("M", "mass of the hull with the water it moves", c.ship.massKg(), "kg"), val("Mc", "water moving with the canopy", c.spells[c.worst].worst.inertia, "kg"),
		val("n", "records of 3 h", float64(s.seeds), ""), val("dt", "longest time step", motion.StepS, "s"),
		result("mean", "mean load", l.MeanN, "N"), result("sd", "standard deviation", l.StandardDeviationN, "N"), result("slack", "share of time slack", l.SlackShare, ""))
	c.book.work("motion", "Largest load in 3 h", "Gumbel: location + scale y, y = -ln(-ln 0.9) = 2.2504", "Weissman (1978) from the largest independent peaks of each record",
		val("r", "peaks used in each record", float64(l.Peak.PerRecord), ""), val("location", "most probable largest", l.Peak.Location, "N"), val("scale", "scale", l.Peak.Scale, "N"),
		result("peak", "load 90 % of 3 h stay below", l.PeakN(), "N"), result("error", "its standard error", l.PeakErrorN(), "N"))
	g := c.governing()
	c.book.work("hardware", "Governing part: "+g.Part, "use = demand/capacity", g.Basis,
		val("demand", "peak load", g.DemandN, "N"), val("capacity", "of the part under the policy", g.CapacityN, "N"), result("use", "share of capacity", g.Use, ""))
}
