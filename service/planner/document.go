package planner

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"rideout/service/physics/motion"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
	"rideout/service/physics/seaway"
	"rideout/service/physics/wind"
)

// document writes the plan from what was computed.
func (c *computation) document(context.Context) error {
	p := &c.plan
	p.Engine, p.VesselName, p.Intent, p.Lying = Engine, c.request.Vessel.Name, c.request.Intent, c.request.Lying
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
		together := "canopy drag, dynamic stiffness and wave drift"
		if c.windIsBanded() {
			together = "canopy drag, dynamic stiffness, wave drift and wind force"
		}
		b.Text = fmt.Sprintf("Low and high take %s together at the end that lowers or raises the load. By itself, %s moves the peak most: from %s to %s kN. Measuring it would narrow the answer most.",
			together, d.Name, kilo(d.PeakN.Low), kilo(d.PeakN.High))
	}
	c.plan.Bands = b
}

// windIsBanded tells whether the wind force has a band: on estimated windage, or by a factor learnt.
func (c *computation) windIsBanded() bool {
	return c.ship.windBand.Mid > 0 && c.request.Assume.WindForceN == nil
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

func degrees(a *quantity.Angle) *float64 {
	if a == nil {
		return nil
	}
	d := r1(a.Degrees())
	return &d
}

// local times are UTC throughout.
func clock(t time.Time) string { return t.UTC().Format("2 Jan 15:04 UTC") }
