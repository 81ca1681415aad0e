package planner

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"rideout/service/physics/bridle"
	"rideout/service/physics/hardware"
	"rideout/service/physics/motion"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
	"rideout/service/physics/seaway"
	"rideout/service/physics/wind"
)

// document writes the plan from what was computed.
func (c *computation) document(context.Context) error {
	p := &c.plan
	p.Engine, p.VesselName, p.Intent = Engine, c.request.Vessel.Name, c.request.Intent
	for i := range c.spells {
		phase, err := c.phase(i)
		if err != nil {
			return err
		}
		p.Phases = append(p.Phases, phase)
	}
	p.Loads = p.Phases[c.worst].Loads
	if err := c.hardware(); err != nil {
		return err
	}
	if err := c.canopyAdvice(); err != nil {
		return err
	}
	c.rodeAdvice()
	c.bands()
	for _, write := range []func() error{c.bridleAdvice, c.seaRoom, c.timeline, c.crew, c.retrievalParts, c.instructions, c.upgrades, c.compare, c.recommend, c.working, c.sayCalibration} {
		if err := write(); err != nil {
			return err
		}
	}
	c.closingWarnings()
	c.method()
	p.Policy = c.policy.items()
	p.Summary = c.summary()
	p.Assumptions, p.Warnings, p.Cautions = c.book.assumptions, c.book.warnings, slices.Clone(Cautions)
	if p.Warnings == nil {
		p.Warnings = []Warning{}
	}
	return nil
}

// paid is the rode paid out in a spell.
func (c *computation) paid(spell int) float64 { return c.curve[c.at[spell]].lengthM }

func (c *computation) phase(i int) (Phase, error) {
	s, study := c.spells[i], c.studies[i]
	x := s.worst
	windKt, gustKt := strongest(s.hours)
	beaufort, err := wind.BeaufortOf(quantity.MetresPerSecond(windKt))
	if err != nil {
		return Phase{}, err
	}
	state, err := seaway.StateOf(x.hour.totalHsM())
	if err != nil {
		return Phase{}, err
	}
	loads, err := c.loads(x, study)
	if err != nil {
		return Phase{}, err
	}
	p := Phase{
		Name: classes[s.class].name, From: s.hours[0].at, Until: s.spans[len(s.spans)-1].Until, Hours: r1(s.total()), Spans: s.spans,
		WindKt: r1(windKt), GustKt: r1(gustKt), BeaufortForce: beaufort.Force,
		HsM: r2(x.hour.totalHsM()), TpS: r2(x.hour.peakS()), SeaStateCode: state.Code,
		WindFromDeg: degrees(x.hour.windFrom), WaveFromDeg: degrees(x.hour.waveFrom), WorstAt: x.hour.at,
		Loads: loads, DesignPeakN: loads.PeakN.Mid, PayOutM: c.paid(i), PayOutReason: c.payOutReason(i),
		CanopyCollapses: r2(study.loads[1].CollapsesPerHour), SnapsPerHour: r1(study.loads[1].SnapsPerHour),
		FatigueShare: each(quantity.BandOf(study.damage[0], study.damage[1], study.damage[2]).Scale(s.total()), sig3),
		Estimated:    missing(s.hours),
	}
	if p.GustSteadyN, err = c.gustForce(x); err != nil {
		return Phase{}, err
	}
	if p.CrestStrikeN, err = c.crestStrike(x, study); err != nil {
		return Phase{}, err
	}
	if p.Breaking, err = c.breaking(x); err != nil {
		return Phase{}, err
	}
	p.Advice = c.advice(i, p)
	return p, nil
}

// loads are the study's bands with drift and steady force beside them.
func (c *computation) loads(x situation, s study) (Loads, error) {
	drift, err := x.driftKt(s.lengthM)
	if err != nil {
		return Loads{}, err
	}
	var steady [3]float64
	for i, u := range []uncertain{allLow, allMid, allHigh} {
		system, err := x.system(s.lengthM, s.kr.Band, u)
		if err != nil {
			return Loads{}, err
		}
		st, err := system.Steady()
		if err != nil {
			return Loads{}, err
		}
		steady[i] = st.TensionN
	}
	l := s.bands(each(drift, r2), quantity.BandOf(steady[0], steady[1], steady[2]))
	for _, b := range []*Band{&l.SteadyN, &l.MeanN, &l.StandardDeviationN, &l.MostProbablePeakN, &l.PeakN, &l.PeakStandardErrorN} {
		*b = each(*b, math.Round)
	}
	l.SlackShare = each(l.SlackShare, r3)
	return l, nil
}

func (c *computation) gustForce(x situation) (float64, error) {
	if c.request.Assume.WindForceN != nil {
		return *c.request.Assume.WindForceN, nil
	}
	// The gust is a speed by itself: it is put in as a mean that needs no averaging time.
	f, err := c.ship.windForceN(math.Min(x.hour.gustMS, quantity.MetresPerSecond(maxWindKt)))
	atMean, err2 := wind.At(1, 10, wind.DesignAveragingS)
	if err == nil {
		err = err2
	}
	return math.Round(f / (atMean * atMean)), err
}

// crestStrike is the load of a breaking crest that throws the bow back.
func (c *computation) crestStrike(x situation, s study) (Band, error) {
	if x.flat {
		return Band{}, nil
	}
	var integrator motion.Integrator
	crest := motion.CrestSpeedMS(x.hour.peakS())
	var peaks [3]float64
	for i, u := range []uncertain{allLow, allMid, allHigh} {
		system, err := x.system(s.lengthM, s.kr.Band, u)
		if err != nil {
			return Band{}, err
		}
		share := []float64{motion.CrestSpeedShare.Low, motion.CrestSpeedShare.Mid, motion.CrestSpeedShare.High}[i]
		if peaks[i], err = integrator.CrestStrike(system, share*crest); err != nil {
			return Band{}, err
		}
	}
	return each(quantity.BandOf(peaks[0], peaks[1], peaks[2]), math.Round), nil
}

func (c *computation) breaking(x situation) ([]Breaking, error) {
	all := []Breaking{}
	for _, lying := range []seaway.Lying{seaway.BowTo, seaway.BeamOn} {
		h, err := seaway.BreakingHazard(x.screened, c.ship.LOAM, seaway.RecordS, lying)
		if err != nil {
			return nil, err
		}
		b := Breaking{
			Lying: string(lying), HeightLOA30M: r2(seaway.CapsizesSome * c.ship.LOAM), HeightLOA60M: r2(seaway.CapsizesAll * c.ship.LOAM),
			ProbabilityOf30In3h: sig3(h.SomeLikelihood), ProbabilityOf60In3h: sig3(h.AllLikelihood),
			Comment: "The tank figures are for models lying beam-on: 30 % of length overall can roll some hulls over, 60 % rolled all that were tested. The probability of such a breaker is a lower estimate.",
		}
		if !h.FiguresApply {
			b.Comment = "The tank figures do not apply bow-to; the same breakers then threaten gear and way astern instead. A low probability is no promise of safety."
		}
		all = append(all, b)
	}
	return all, nil
}

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

func (c *computation) bands() {
	b := Bands{Drives: "nothing", Text: "Every input was imposed: no band is left.", Inputs: []BandInput{}}
	driver := -1
	for i, in := range c.inputs {
		if driver < 0 || in.width() > c.inputs[driver].width() {
			driver = i
		}
		b.Inputs = append(b.Inputs, BandInput{Name: in.name, Value: each(in.value, sig3), Unit: in.unit, Source: in.source, PeakN: each(in.peakN, math.Round)})
	}
	if driver >= 0 {
		b.Inputs[driver].Drives = true
		d := b.Inputs[driver]
		b.Drives = d.Name
		b.Text = fmt.Sprintf("Low and high take canopy drag, dynamic stiffness and wave drift together at the end that lowers or raises the load. By itself, %s moves the peak most: from %s to %s kN. Measuring it would narrow the answer most.",
			d.Name, kilo(d.PeakN.Low), kilo(d.PeakN.High))
	}
	c.plan.Bands = b
}

func (c *computation) method() {
	ratios := make([]float64, 0, len(c.curve))
	seeds := 0
	for i, s := range c.curve {
		if p := s.loads[1].PeakN(); p > 0 {
			ratios = append(ratios, c.screens[i].peakN.mid/p)
		}
		seeds = max(seeds, s.seeds)
	}
	slices.Sort(ratios)
	m := Method{
		Seeds: seeds, RecordHours: seaway.RecordS / 3600, TimeStepS: motion.StepS, StepsScreened: len(c.hours),
		SimulatedHours: r1(float64(c.records) * (seaway.RecordS + motion.LeadInS) / 3600),
	}
	if len(ratios) > 0 { // in a flat calm nothing pulls, and there is nothing to compare
		m.ScreenOverConfirmed = each(Band{Low: ratios[0], Mid: ratios[len(ratios)/2], High: ratios[len(ratios)-1]}, r2)
	}
	m.Text = fmt.Sprintf("Every forecast step is screened in the frequency domain; the worst step of each phase is integrated in the time domain in records of %.0f h, as many as bring the standard error of the peak to %.0f %% (at most %d). The peak is the load 90 %% of such records stay below. Over the rode lengths the screen gave %.2f to %.2f of the time domain's peak; only the time domain's figures are shown as loads.",
		m.RecordHours, 100*seedErrorShare, mostSeeds, m.ScreenOverConfirmed.Low, m.ScreenOverConfirmed.High)
	c.plan.Method = m
}

// customary maps a class to the weather the trade's pay-out rules know.
func customary(class int) rode.Weather {
	switch class {
	case 3:
		return rode.Storm
	case 2:
		return rode.Gale
	}
	return rode.Calm
}

func (c *computation) recommend() error {
	a := c.plan.Rode
	set := []SetItem{
		{"canopy", fmt.Sprintf("flat circular, %.1f m", c.bestM), fmt.Sprintf("smallest stock size that drifts at most %.1f kt", quantity.Knots(c.wishMS))},
		{"rode", fmt.Sprintf("%.0f m of %.0f mm three-strand nylon, thimbled splice at both ends", math.Ceil(math.Max(a.RecommendedM, reserveRode*c.paid(c.worst))/10)*10, a.RecommendedMM), "keeps the peak within the working load with some rode in reserve"},
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

func degrees(a *quantity.Angle) *float64 {
	if a == nil {
		return nil
	}
	d := r1(a.Degrees())
	return &d
}

// each applies a rounding to the estimates of a band.
func each(b Band, f func(float64) float64) Band {
	return Band{Low: f(b.Low), Mid: f(b.Mid), High: f(b.High)}
}

func r1(x float64) float64 { return math.Round(x*10) / 10 }
func r2(x float64) float64 { return math.Round(x*100) / 100 }
func r3(x float64) float64 { return math.Round(x*1000) / 1000 }

// sig3 rounds to three significant digits.
func sig3(x float64) float64 { return significant(x, 3) }

func significant(x float64, digits int) float64 {
	if x == 0 || math.IsInf(x, 0) {
		return x
	}
	p := math.Pow(10, float64(digits-1)-math.Floor(math.Log10(math.Abs(x))))
	return math.Round(x*p) / p
}

// local times are UTC throughout.
func clock(t time.Time) string { return t.UTC().Format("2 Jan 15:04 UTC") }
