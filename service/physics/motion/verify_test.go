package motion_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"reflect"
	"slices"
	"testing"

	"rideout/service/physics/motion"
	"rideout/service/physics/rode"
	"rideout/service/physics/seaway"
)

// yacht is a 12 m power vessel in a storm, the case most checks are made on.
func yacht() motion.System {
	r := 0.3375 * 5.5
	return motion.System{
		HullMassKg: 1.08 * 14000, HullDragAreaM2: 0.61, WindN: 3930,
		CanopyDragAreaM2: 0.75 * math.Pi * 5.5 * 5.5 / 4, CanopyInertiaKg: 8.0 / 3 * 1025 * r * r * r, CanopyDepthM: 8,
		Rode: rode.Solid{Curve: rode.Curve{A: 1, B: 4, BreakingN: 83300}, KdFb: 1.5, TauS: 60}, RodeLengthM: 120,
	}
}

func run(t testing.TB, g *motion.Integrator, s motion.System, from motion.State, w motion.Water, durationS, stepS float64) motion.Trace {
	t.Helper()
	trace, err := g.Run(s, from, w, 0, durationS, stepS)
	if err != nil {
		t.Fatal(err)
	}
	return trace
}

func steady(t testing.TB, s motion.System) motion.Steady {
	t.Helper()
	st, err := s.Steady()
	if err != nil {
		t.Fatal(err)
	}
	return st
}

// Zero sea returns the static answer, from rest at the balance and from a start away from it.
func TestZeroSeaReturnsTheStaticAnswer(t *testing.T) {
	t.Parallel()
	for _, windMS := range []float64{0, 23} {
		s := yacht()
		s.WindMS, s.WaveDriftN, s.SurfaceDriftMS = windMS, 500, 0.3
		st := steady(t, s)
		var g motion.Integrator
		for name, from := range map[string]motion.State{"at the balance": st.Start(), "away from it": {DistanceM: st.DistanceM - 3, HullMS: 1}} {
			trace := run(t, &g, s, from, motion.Water{}, 3000, 0.05)
			got := trace.TensionN[len(trace.TensionN)-1]
			if math.Abs(got/st.TensionN-1) > 1e-6 || math.Abs(trace.End.CanopyMS/st.DriftMS-1) > 1e-6 {
				t.Errorf("wind %g m/s, %s: after 3000 s %.4f N, drift %.6f m/s; static answer %.4f N, %.6f m/s",
					windMS, name, got, trace.End.CanopyMS, st.TensionN, st.DriftMS)
			}
		}
		push := s.WindN + s.WaveDriftN
		if windMS > 0 {
			push = s.WindN*math.Pow(1-st.DriftMS/windMS, 2) + s.WaveDriftN
		}
		push -= 0.5 * 1025 * s.HullDragAreaM2 * (st.DriftMS - 0.3) * math.Abs(st.DriftMS-0.3)
		drag := 0.5 * 1025 * s.CanopyDragAreaM2 * st.DriftMS * st.DriftMS
		horizontal := st.TensionN * st.DistanceM / (s.RodeLengthM * (1 + st.Stretch))
		if math.Abs(push/drag-1) > 1e-9 || math.Abs(horizontal/drag-1) > 1e-9 {
			t.Errorf("push %.6f N, drag %.6f N, horizontal pull %.6f N: want all equal", push, drag, horizontal)
		}
	}
}

// regularWater is a small regular wave at both bodies, sampled finely.
func regularWater(omega, hullMS, canopyMS, lead, intervalS float64) motion.Water {
	n := int(math.Round(2 * math.Pi / omega / intervalS))
	w := motion.Water{IntervalS: 2 * math.Pi / omega / float64(n), Samples: make([]float64, 2*n)}
	for i := range n {
		phase := omega * float64(i) * w.IntervalS
		w.Samples[2*i], w.Samples[2*i+1] = hullMS*math.Cos(phase), canopyMS*math.Cos(phase+lead)
	}
	return w
}

// A linear spring and a small regular wave return the closed-form transfer function, amplitude and
// phase, over the waves' frequencies.
func TestSmallWaveReturnsTheTransferFunction(t *testing.T) {
	t.Parallel()
	for _, omega := range []float64{0.3, 0.5, 0.8, 1.2, 2} {
		s := yacht()
		s.Rode.Curve.B = 0
		s.WindMS = 23
		const hullMS, canopyMS, lead = 2e-3, 1.2e-3, 0.8
		lin, st, err := motion.Linearise(s)
		if err != nil {
			t.Fatal(err)
		}
		ph, pc := lin.Transfer(omega)
		want := ph*hullMS + pc*canopyMS*cmplx.Rect(1, lead)

		w := regularWater(omega, hullMS, canopyMS, lead, 0.05)
		var g motion.Integrator
		lap := float64(len(w.Samples)/2) * w.IntervalS
		warm := run(t, &g, s, st.Start(), w, 100*lap, 0.05) // whole periods, until the start is forgotten
		trace := run(t, &g, s, warm.End, w, 20*lap, 0.05)
		var got complex128
		for i, v := range trace.TensionN {
			got += complex(v-st.TensionN, 0) * cmplx.Rect(2/float64(len(trace.TensionN)), -omega*float64(i)*trace.StepS)
		}
		if d := cmplx.Abs(got-want) / cmplx.Abs(want); d > 2e-3 {
			t.Errorf("omega %g: tension amplitude %.4f N at %.4f rad, closed form %.4f at %.4f: apart by %.2g of it",
				omega, cmplx.Abs(got), cmplx.Phase(got), cmplx.Abs(want), cmplx.Phase(want), d)
		}
	}
}

// A step of stretch that is then held returns the relaxation curve of the rode.
func TestStepStretchReturnsTheRelaxationCurve(t *testing.T) {
	t.Parallel()
	s := yacht()
	s.HullMassKg, s.CanopyInertiaKg, s.CanopyDepthM, s.WindN = 1e18, 1e18, 0, 0 // nothing moves
	const stretch = 0.08
	from := motion.State{DistanceM: s.RodeLengthM * (1 + stretch), FadingN: s.Rode.KdFb * s.Rode.BreakingN * stretch}
	var g motion.Integrator
	trace := run(t, &g, s, from, motion.Water{}, 180, 0.05)
	for i, got := range trace.TensionN {
		fading, err := s.Rode.FadingN(stretch, float64(i)*trace.StepS)
		if err != nil {
			t.Fatal(err)
		}
		if want := s.Rode.Tension(stretch) + fading; math.Abs(got-want) > 1e-6 {
			t.Fatalf("after %.2f s %.9f N, relaxation curve %.9f", float64(i)*trace.StepS, got, want)
		}
	}
}

// The energy book closes: what wind and waves put in equals what is stored and what drag and
// relaxation take out. Deliberately not computed from the equations' right-hand sides but from
// force times speed along the kept states.
func TestEnergyBookCloses(t *testing.T) {
	t.Parallel()
	s := yacht()
	s.Rode.KdFb = 0.8
	st := steady(t, s)
	w := regularWater(0.6, 1.0, 0.7, 0.9, 0.05)
	g := motion.Integrator{KeepStates: true}
	trace := run(t, &g, s, st.Start(), w, 400, 0.01)
	fb, l, h := s.Rode.BreakingN, s.RodeLengthM, s.CanopyDepthM
	stretch := func(x motion.State) float64 { return math.Hypot(x.DistanceM, h)/l - 1 }
	stored := func(x motion.State) float64 {
		e := stretch(x)
		return s.HullMassKg*x.HullMS*x.HullMS/2 + s.CanopyInertiaKg*x.CanopyMS*x.CanopyMS/2 +
			fb*l*(s.Rode.A*e*e/2+s.Rode.B*e*e*e*e/4) + x.FadingN*x.FadingN*l/(2*s.Rode.KdFb*fb)
	}
	power := make([]float64, len(trace.States))
	through := 0.0
	for i, x := range trace.States {
		if stretch(x) <= 0 || trace.TensionN[i] <= 0 {
			t.Fatalf("slack at step %d: the book is for a taut rode", i)
		}
		u, uc := trace.WaterMS[i][0], trace.WaterMS[i][1]
		horizontal := trace.TensionN[i] * x.DistanceM / math.Hypot(x.DistanceM, h)
		in := s.WindN*x.HullMS + horizontal*(u-uc)
		out := 0.5*1025*s.HullDragAreaM2*math.Pow(math.Abs(x.HullMS), 3) +
			x.FadingN*x.FadingN*l/(s.Rode.KdFb*fb*s.Rode.TauS)
		canopy := 0.5 * 1025 * s.CanopyDragAreaM2 * math.Pow(math.Abs(x.CanopyMS), 3)
		if x.CanopyMS < 0 {
			canopy *= motion.ReversedDragShare
		}
		power[i] = in - out - canopy
		through += math.Abs(in) * trace.StepS
	}
	sum := 0.0
	for i := 1; i < len(power); i++ {
		sum += (power[i] + power[i-1]) / 2 * trace.StepS
	}
	change := stored(trace.States[len(trace.States)-1]) - stored(trace.States[0])
	if math.Abs(sum-change) > 1e-5*through { // the trapezoid's own error at 0.01 s
		t.Errorf("net power integrates to %.3f J, the stores changed by %.3f J, of %.0f J passed through", sum, change, through)
	}
}

// Water that moves alike at both bodies does no work on the rode: the tension does not see it.
func TestRigidMotionDoesNoWork(t *testing.T) {
	t.Parallel()
	s := yacht()
	st := steady(t, s)
	w := regularWater(0.7, 3, 3, 0, 0.1)
	var still, moved motion.Integrator
	a := run(t, &still, s, st.Start(), motion.Water{}, 300, 0.1)
	b := run(t, &moved, s, st.Start(), w, 300, 0.1)
	for i, v := range a.TensionN {
		if math.Abs(v-b.TensionN[i]) > 1e-6 {
			t.Fatalf("step %d: %.9f N in still water, %.9f N when all the water moves alike", i, v, b.TensionN[i])
		}
	}
}

// Fourth order: halving the step divides the error by about 16 while the rode stays taut.
func TestOrderOfConvergence(t *testing.T) {
	t.Parallel()
	s := yacht()
	s.WindN, s.HullDragAreaM2 = 12000, 0 // taut and driven hard; the hull's own drag has a kink at rest
	st := steady(t, s)
	w := regularWater(0.6, 0.6, 0.4, 0.9, 0.4)
	end := func(stepS float64) motion.State {
		var g motion.Integrator
		return run(t, &g, s, st.Start(), w, 100*w.IntervalS, stepS).End
	}
	exact := end(w.IntervalS / 128)
	off := func(stepS float64) float64 { x := end(stepS); return math.Abs(x.DistanceM - exact.DistanceM) }
	for _, stepS := range []float64{w.IntervalS, w.IntervalS / 2, w.IntervalS / 4} {
		order := math.Log2(off(stepS) / off(stepS/2))
		if math.Abs(order-4) > 0.3 {
			t.Errorf("order between %g s and half of it is %.2f, want 4", stepS, order)
		}
	}
}

// Halving the step changes the peak by less than 1 %, in the same seas. Where the rode snaps, the
// motion is so sensitive that a record's highest snap moves by several percent with any smallest
// change (0.1 mm of rode, say): there it takes 24 records for the change to show below 1 %.
func TestHalvingTheStepKeepsThePeak(t *testing.T) {
	t.Parallel()
	for _, c := range independentCases(t) {
		whole, half := c.load(t, 24, motion.StepS), c.load(t, 24, motion.StepS/2)
		if d := half.PeakN()/whole.PeakN() - 1; math.Abs(d) > 0.01 {
			t.Errorf("%s: peak %.0f N at %g s, %.0f N at half of it: %.2f %% apart", c.Name, whole.PeakN(), motion.StepS, half.PeakN(), 100*d)
		}
	}
}

// An impulsive start against a canopy that does not yield is the snap load v sqrt(k m).
func TestCrestStrikeIsTheSnapLoad(t *testing.T) {
	t.Parallel()
	s := yacht()
	s.Rode.Curve.B, s.Rode.KdFb = 0, 0
	s.CanopyInertiaKg, s.CanopyDepthM, s.HullDragAreaM2, s.WindN = 1e12, 0, 0, 1
	const speed = 2.0
	k := s.Rode.A * s.Rode.BreakingN / s.RodeLengthM
	want := speed * math.Sqrt(k*s.HullMassKg)
	var g motion.Integrator
	got, err := g.CrestStrike(s, speed)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(got/want-1) > 1e-3 { // 1 N of wind and its drift are in it
		t.Errorf("strike at %g m/s: %.1f N, v sqrt(k m) = %.1f N", speed, got, want)
	}
	if _, err := g.CrestStrike(s, -1); err == nil {
		t.Error("a strike of -1 m/s was taken")
	}
}

// Same input, same bits.
func TestSameInputSameBits(t *testing.T) {
	t.Parallel()
	c := independentCases(t)[1]
	a, b := c.load(t, 2, 0.1), c.load(t, 2, 0.1)
	if a.Peak != b.Peak || a.MeanN != b.MeanN || a.StandardDeviationN != b.StandardDeviationN {
		t.Errorf("two runs of the same case: %+v and %+v", a, b)
	}
}

// Properties a seaman expects: a longer rode and a softer one lower the peak; a higher sea raises
// it; more wind raises the mean.
func TestMonotony(t *testing.T) {
	t.Parallel()
	base := independentCases(t)[1]
	peak := func(change func(*independentCase)) motion.Load {
		c := base
		change(&c)
		return c.load(t, 4, 0.1)
	}
	var peaks []float64
	for _, l := range []float64{60, 90, 140, 220} {
		peaks = append(peaks, peak(func(c *independentCase) { c.RodeM = l }).PeakN())
	}
	if !slices.IsSortedFunc(peaks, func(a, b float64) int { return -int(math.Copysign(1, a-b)) }) {
		t.Errorf("peaks for rodes of 60, 90, 140, 220 m: %.0f N, want falling", peaks)
	}
	if soft, stiff := peak(func(c *independentCase) { c.Kr = 1.5 }), peak(func(c *independentCase) { c.Kr = 4.5 }); soft.PeakN() >= stiff.PeakN() {
		t.Errorf("soft rode %.0f N, stiff %.0f N", soft.PeakN(), stiff.PeakN())
	}
	if low, high := peak(func(c *independentCase) { c.HsM = 4 }), peak(func(c *independentCase) { c.HsM = 7 }); low.PeakN() >= high.PeakN() {
		t.Errorf("Hs 4 m %.0f N, Hs 7 m %.0f N", low.PeakN(), high.PeakN())
	}
	if light, strong := peak(func(c *independentCase) { c.WindN = 3000 }), peak(func(c *independentCase) { c.WindN = 6000 }); light.MeanN >= strong.MeanN {
		t.Errorf("mean %.0f N in light wind, %.0f N in strong", light.MeanN, strong.MeanN)
	}
}

// Slack spells longer than the canopy takes to fill are counted as collapses.
func TestCollapsesAreCounted(t *testing.T) {
	t.Parallel()
	c := independentCases(t)[1] // slack for half of the time
	sea, err := seaway.JONSWAP(c.HsM, c.TpS, seaway.Gamma(c.HsM, c.TpS), seaway.RecordGrid(c.TpS))
	if err != nil {
		t.Fatal(err)
	}
	rec, err := seaway.NewRecord(sea, 1)
	if err != nil {
		t.Fatal(err)
	}
	s, body := c.system(t)
	var before motion.Tally
	for i, fillS := range []float64{0, 100, 3, 1} {
		s.CanopyFillS = fillS
		var b motion.Bench
		got, _, err := b.Record(s, b.Water(s, body, rec), c.TpS, 0.1)
		if err != nil {
			t.Fatal(err)
		}
		none := fillS == 0 || fillS > got.LongestSlackS
		if none != (got.Collapses == 0) || got.Collapses < before.Collapses || got.LongestSlackS < 2 {
			t.Errorf("case %d: fill time %g s, longest slack %.1f s, %d collapses (%d with a longer one)", i, fillS, got.LongestSlackS, got.Collapses, before.Collapses)
		}
		before = got
	}
}

func TestRefusals(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]func(*motion.System){
		"no mass":            func(s *motion.System) { s.HullMassKg = 0 },
		"canopy below rode":  func(s *motion.System) { s.CanopyDepthM = 200 },
		"not a number":       func(s *motion.System) { s.WindN = math.NaN() },
		"no rode":            func(s *motion.System) { s.Rode.BreakingN = 0 },
		"pull over strength": func(s *motion.System) { s.WindN = 2e5 },
	} {
		s := yacht()
		change(&s)
		if _, err := s.Steady(); err == nil {
			t.Errorf("%s: no error", name)
		}
		if _, _, err := motion.Linearise(s); err == nil {
			t.Errorf("%s: made linear", name)
		}
		if _, err := motion.ScreenSea(s, motion.Body{}, seaway.Spectrum{}); err == nil {
			t.Errorf("%s: screened", name)
		}
		var b motion.Bench
		if _, _, err := b.Record(s, motion.Water{}, 10, 0.1); err == nil {
			t.Errorf("%s: recorded", name)
		}
	}
	var g motion.Integrator
	ok := steady(t, yacht()).Start()
	for name, c := range map[string]struct {
		w              motion.Water
		duration, step float64
	}{
		"step 0":      {motion.Water{}, 10, 0},
		"few samples": {motion.Water{Samples: make([]float64, 4), IntervalS: 1}, 10, 0.1},
		"no interval": {motion.Water{Samples: make([]float64, 40)}, 10, 0.1},
		"endless":     {motion.Water{}, math.Inf(1), 0.1},
	} {
		if _, err := g.Run(yacht(), ok, c.w, 0, c.duration, c.step); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	var b motion.Bench
	if _, _, err := b.Record(yacht(), motion.Water{}, 0, 0.1); err == nil {
		t.Error("peak period 0 was taken")
	}
	if _, err := motion.ScreenSea(yacht(), motion.Body{LengthM: -1}, seaway.Spectrum{}); err == nil {
		t.Error("a body of -1 m was screened")
	}
	if _, err := motion.Gather(nil); err == nil {
		t.Error("no records were gathered")
	}
}

// The load in the rode of a 12 m motor yacht in a storm, 90 m and 180 m paid out.
func Example() {
	sea, _ := seaway.JONSWAP(6, 10, seaway.Gamma(6, 10), seaway.RecordGrid(10))
	s := yacht()
	body := motion.Body{LengthM: 11.2, DepthM: 0.65}
	var bench motion.Bench
	for _, length := range []float64{90, 180} {
		s.RodeLengthM = length
		var tallies []motion.Tally
		for seed := range uint64(5) {
			rec, _ := seaway.NewRecord(sea, seed)
			t, _, _ := bench.Record(s, bench.Water(s, body, rec), 10, motion.StepS)
			tallies = append(tallies, t)
		}
		load, _ := motion.Gather(tallies)
		fmt.Printf("%.0f m: mean %.1f kN, 90 %% of 3 h maxima below %.0f kN\n", length, load.MeanN/1000, load.PeakN()/1000)
	}
	// Output:
	// 90 m: mean 3.7 kN, 90 % of 3 h maxima below 31 kN
	// 180 m: mean 3.8 kN, 90 % of 3 h maxima below 14 kN
}

// Systems that run side by side leave the same bits as each alone.
func TestSideBySideIsAlone(t *testing.T) {
	t.Parallel()
	sea, err := seaway.JONSWAP(6, 11, 3.3, seaway.RecordGrid(11))
	if err != nil {
		t.Fatal(err)
	}
	rec, err := seaway.NewRecord(sea, 7)
	if err != nil {
		t.Fatal(err)
	}
	systems := []motion.System{yacht(), yacht(), yacht(), yacht()}
	systems[1].CanopyDragAreaM2 *= 1.3
	systems[2].Rode.KdFb *= 2
	systems[3].WindN, systems[3].Rode.TauS = systems[3].WindN*1.4, systems[3].Rode.TauS/3
	var together, alone motion.Bench
	water := together.Water(systems[0], motion.Body{LengthM: 10, DepthM: 0.8}, rec)
	for n := 1; n <= len(systems); n++ { // a Bench is used again for more and for fewer
		tallies, tensions, err := together.Records(systems[:n], water, 11, motion.StepS)
		if err != nil {
			t.Fatal(err)
		}
		for i, s := range systems[:n] {
			tally, tension, err := alone.Record(s, water, 11, motion.StepS)
			if err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(tally, tallies[i]) || !slices.Equal(tension, tensions[i]) {
				t.Errorf("system %d of %d: %+v side by side, %+v alone", i, n, tallies[i], tally)
			}
		}
	}
}
