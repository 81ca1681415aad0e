package hull_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/physics/seaway"
)

var trawlerYacht = hull.Hull{Kind: hull.PowerDisplacement, LOAM: 12.2, LWLM: 11.2, BeamM: 4.0, DraughtM: 1.3, DisplacementKg: 14000}

func TestCheckNamesWhatCannotFloat(t *testing.T) {
	t.Parallel()
	if err := trawlerYacht.Check(); err != nil {
		t.Fatalf("%+v: %v", trawlerYacht, err)
	}
	cases := []struct {
		change func(*hull.Hull)
		names  string
	}{
		{func(h *hull.Hull) { h.LOAM = 1 }, "length overall"},
		{func(h *hull.Hull) { h.LWLM = 12.3 }, "waterline length"},
		{func(h *hull.Hull) { h.BeamM = 0 }, "beam"},
		{func(h *hull.Hull) { h.DraughtM = math.NaN() }, "draught"},
		{func(h *hull.Hull) { h.DisplacementKg = 60000 }, "displacement"},
		{func(h *hull.Hull) { h.DisplacementKg = -1 }, "displacement"},
	}
	for _, c := range cases {
		h := trawlerYacht
		c.change(&h)
		var out *quantity.RangeError
		if err := h.Check(); !errors.As(err, &out) || out.Name != c.names {
			t.Errorf("Check(%+v) = %v, want a RangeError of %q", h, err, c.names)
		}
	}
	odd := trawlerYacht
	odd.Kind = "raft"
	if odd.Check() == nil {
		t.Errorf("kind %q was taken", odd.Kind)
	}
}

func TestEveryKindHasItsEstimates(t *testing.T) {
	t.Parallel()
	for _, k := range hull.Kinds() {
		if l := hull.EstimateLWLM(k, 12); !(l > 9 && l < 12) {
			t.Errorf("%s: waterline %g m of a 12 m hull", k, l)
		}
		if f := hull.EstimateFreeboardM(k, 12); !(f > 0.8 && f < 2) {
			t.Errorf("%s: freeboard %g m of a 12 m hull", k, f)
		}
		if c := hull.Leeway(k); c.Slope <= 0 || c.Name == "" {
			t.Errorf("%s: no leeway class", k)
		}
	}
	if !hull.SailMultihull.Sails() || hull.Workboat.Sails() {
		t.Error("a multihull sails, a workboat does not")
	}
}

// Long waves pass under, short ones are thrown back; more sea and more breadth never push less;
// the bound R2 = 1 is never passed.
func TestWaveDriftLimits(t *testing.T) {
	t.Parallel()
	r := hull.Reflection{HalfLengths: 1}
	if got := r.R2(1000, 10); got > 1e-7 {
		t.Errorf("R2 of a wave of 100 lengths = %g, want about 0", got)
	}
	if got := r.R2(0.01, 10); math.Abs(got-1) > 1e-9 {
		t.Errorf("R2 of a ripple = %g, want 1", got)
	}
	if got := r.R2(10, 10); got != 0.5 {
		t.Errorf("R2 at the half length = %g, want 0.5", got)
	}
	if got := (hull.Reflection{}).R2(1, 10); got != 0 {
		t.Errorf("R2 of the zero value = %g, want 0", got)
	}
	before := 0.0
	for _, hs := range []float64{1, 2, 4, 8} {
		sea, err := seaway.JONSWAP(hs, 9, 2, grid)
		if err != nil {
			t.Fatal(err)
		}
		b := trawlerYacht.HeadDriftN(sea)
		bound := 1025 * 9.80665 * trawlerYacht.BeamM * hs * hs / 16
		if !(b.Low < b.Mid && b.Mid < b.High && b.High < bound) {
			t.Errorf("Hs %g: head drift %+v is not ordered below the bound %g", hs, b, bound)
		}
		if got, want := b.Mid, 4*before; before > 0 && math.Abs(got-want) > 1e-9*want {
			t.Errorf("Hs %g: drift %g N, want four times that of half the height, %g", hs, got, want)
		}
		before = b.Mid
		if beam := trawlerYacht.BeamDriftN(sea); beam.Mid <= b.Mid {
			t.Errorf("Hs %g: beam-on drift %g N is not above head drift %g", hs, beam.Mid, b.Mid)
		}
	}
}

func TestDragAreas(t *testing.T) {
	t.Parallel()
	astern, beam := trawlerYacht.DragAreaAsternM2(), trawlerYacht.DragAreaBeamM2()
	// The independent program of the motion cases takes 0.5 m/(rho Lwl) without friction.
	section := 0.5 * 14000 / 1025 / 11.2
	if !(astern.Mid > section && astern.Mid < 1.3*section) {
		t.Errorf("astern CdA %.3f m2, want a little above the form drag %.3f", astern.Mid, section)
	}
	if beam.Mid < 5*astern.Mid {
		t.Errorf("beam-on CdA %.2f m2 against astern %.2f", beam.Mid, astern.Mid)
	}
	if a, b := trawlerYacht.FrictionN(1), trawlerYacht.FrictionN(2); !(b > 3*a && b < 4*a) {
		t.Errorf("friction %g N at 1 m/s, %g at 2: want a little under fourfold", a, b)
	}
	if got := trawlerYacht.FrictionN(0); got != 0 {
		t.Errorf("friction at rest = %g", got)
	}
}

func TestRollPeriodRefuses(t *testing.T) {
	t.Parallel()
	if _, err := hull.RollPeriodS(4, 1.5, 12, 0); err == nil {
		t.Error("a metacentric height of 0 was taken")
	}
}

func TestLeewaySpread(t *testing.T) {
	t.Parallel()
	d := hull.Leeway(hull.Workboat).Drift(5)
	if !(d.Low == 0 && d.Mid > 0 && d.High > d.Mid) {
		t.Errorf("leeway in a breeze %+v, want it never negative and with a spread", d)
	}
}

// The mean push of a severe sea on a 12 m motor yacht lying bow to it.
func ExampleHull_HeadDriftN() {
	h := hull.Hull{Kind: hull.PowerDisplacement, LOAM: 12.2, LWLM: 11.2, BeamM: 4.0, DraughtM: 1.3, DisplacementKg: 14000}
	sea, _ := seaway.JONSWAP(6, 10, seaway.Gamma(6, 10), seaway.Grid{StepRadS: 0.005, Count: 1000, CutAtPeaks: seaway.CustomaryCut})
	drift := h.HeadDriftN(sea)
	fmt.Printf("wave drift %.0f N (%.0f to %.0f)\n", drift.Mid, drift.Low, drift.High)
	// Output: wave drift 502 N (68 to 2269)
}
