package rode_test

import (
	"fmt"
	"math"
	"testing"

	"rideout/service/physics/rode"
)

func curve(t *testing.T, a, breakingN float64) rode.Curve {
	t.Helper()
	c, err := rode.NewCurve(a, breakingN)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestStretchAtInvertsTension(t *testing.T) {
	t.Parallel()
	curves := []rode.Curve{{A: 0, B: 8, BreakingN: 1e5}, {A: 2, B: 0, BreakingN: 1e5}, {A: 1e-9, B: 8, BreakingN: 1e5}, {A: 2, B: 1e-9, BreakingN: 1e5}}
	for _, a := range []float64{0.7, 1, 1.5} {
		curves = append(curves, curve(t, a, 83300))
	}
	for _, c := range curves {
		for _, e := range []float64{1e-9, 1e-4, 0.01, 0.1, 0.25, 0.4, 0.4999} {
			got, err := c.StretchAt(c.Tension(e))
			if err != nil {
				t.Fatal(err)
			}
			near(t, fmt.Sprintf("%+v at %g", c, e), got, e, 1e-12)
		}
		if e, err := c.StretchAt(0); e != 0 || err != nil {
			t.Errorf("no load: got %g, %v", e, err)
		}
	}
}

func TestCurveBreaksAtHalfAndStiffens(t *testing.T) {
	t.Parallel()
	for _, a := range []float64{0, 0.7, 1, 1.5, 2} {
		c := curve(t, a, 83300)
		near(t, "tension at 50 %", c.Tension(rode.BreakingStretch), 83300, 1e-12)
		for e := 0.01; e < 0.5; e += 0.01 {
			const h = 1e-5
			slope := (c.Tension(e+h) - c.Tension(e-h)) / (2 * h)
			near(t, fmt.Sprintf("slope at %g", e), c.Stiffness(e), slope, 1e-6)
			u1, err1 := c.EnergyJ(e+h, 90)
			u0, err0 := c.EnergyJ(e-h, 90)
			if err1 != nil || err0 != nil {
				t.Fatal(err1, err0)
			}
			near(t, fmt.Sprintf("energy slope at %g", e), (u1-u0)/(2*h), 90*c.Tension(e), 1e-6)
		}
		if c.Tension(-0.1) != 0 || c.Stiffness(-0.1) != 0 || c.Tension(0) != 0 {
			t.Error("a slack rope bears load")
		}
	}
}

func TestFitCurveReturnsTheCurveOfItsPoints(t *testing.T) {
	t.Parallel()
	for _, want := range []rode.Curve{curve(t, 0.9, 5e4), curve(t, 0, 5e4), curve(t, 2, 5e4)} {
		var points []rode.Point
		for _, e := range []float64{0.05, 0.1, 0.2, 0.3, 0.45} {
			points = append(points, rode.Point{e, want.Tension(e)})
		}
		got, rms, err := rode.FitCurve(points, 5e4)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(got.A-want.A) > 1e-10 || math.Abs(got.B-want.B) > 1e-9 || rms > 1e-5 {
			t.Errorf("got %+v (rms %g N), want %+v", got, rms, want)
		}
	}
}

// A degressive sheet would want a negative cubic, a progressive one a negative slope at no load:
// both fits stay with the other term, and no non-negative neighbour is nearer.
func TestFitCurveKeepsCoefficientsNonNegative(t *testing.T) {
	t.Parallel()
	for name, points := range map[string][]rode.Point{
		"degressive":  {{0.1, 2e4}, {0.2, 3e4}, {0.4, 3.5e4}},
		"progressive": {{0.1, 10}, {0.2, 100}, {0.3, 4e3}, {0.45, 4.8e4}},
	} {
		c, rms, err := rode.FitCurve(points, 5e4)
		if err != nil {
			t.Fatal(err)
		}
		if c.A < 0 || c.B < 0 || c.A*c.B != 0 {
			t.Errorf("%s: got %+v, want one coefficient at nought", name, c)
		}
		for _, d := range [][2]float64{{1e-3, 0}, {-1e-3, 0}, {0, 1e-3}, {0, -1e-3}} {
			other := rode.Curve{A: c.A + d[0], B: c.B + d[1], BreakingN: 5e4}
			if other.A < 0 || other.B < 0 {
				continue
			}
			var sum float64
			for _, p := range points {
				sum += math.Pow(other.Tension(p.Stretch)-p.LoadN, 2)
			}
			if other := math.Sqrt(sum / float64(len(points))); other < rms {
				t.Errorf("%s: %v away is nearer: %g N against %g N", name, d, other, rms)
			}
		}
	}
}

func TestCurveRefuses(t *testing.T) {
	t.Parallel()
	c := curve(t, 1, 1e5)
	nan := math.NaN()
	for name, call := range map[string]func() error{
		"a too large":          func() error { _, err := rode.NewCurve(2.1, 1e5); return err },
		"no strength":          func() error { _, err := rode.NewCurve(1, 0); return err },
		"beyond breaking":      func() error { _, err := c.StretchAt(1.01e5); return err },
		"negative tension":     func() error { _, err := c.StretchAt(-1); return err },
		"zero curve":           func() error { _, err := rode.Curve{}.StretchAt(0); return err },
		"curve without slope":  func() error { _, err := rode.Curve{BreakingN: 10}.StretchAt(1); return err },
		"energy of NaN":        func() error { _, err := c.EnergyJ(nan, 1); return err },
		"energy of no length":  func() error { _, err := c.EnergyJ(0.1, -1); return err },
		"one reading":          func() error { _, _, err := rode.FitCurve([]rode.Point{{0.1, 1}}, 1e5); return err },
		"one stretch":          func() error { _, _, err := rode.FitCurve([]rode.Point{{0.1, 1}, {0.1, 2}}, 1e5); return err },
		"no stretch":           func() error { _, _, err := rode.FitCurve([]rode.Point{{0, 1}, {0.1, 2}}, 1e5); return err },
		"load over strength":   func() error { _, _, err := rode.FitCurve([]rode.Point{{0.2, 2e5}, {0.1, 2}}, 1e5); return err },
		"loads all nought":     func() error { _, _, err := rode.FitCurve([]rode.Point{{0.2, 0}, {0.1, 0}}, 1e5); return err },
		"fit with no strength": func() error { _, _, err := rode.FitCurve(nil, nan); return err },
	} {
		if call() == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}
