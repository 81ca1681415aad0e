package rode_test

import (
	"fmt"
	"math"
	"testing"

	"rideout/service/physics/rode"
)

func TestKrFollowsLoadAndStaysInThePublishedSpan(t *testing.T) {
	t.Parallel()
	for lm := 0.0; lm <= 100; lm += 2 {
		for la := 0.0; la <= 100; la += 2 {
			k, err := rode.Kr(rode.Plaited, lm, la)
			if err != nil {
				t.Fatal(err)
			}
			if !(k.Mid >= 1 && k.Mid <= 10 && k.Low <= 1.5 && k.High >= 4.5 && k.Low <= k.Mid && k.Mid <= k.High) {
				t.Fatalf("mean %g %%, amplitude %g %%: %+v", lm, la, k)
			}
		}
	}
	soft, err1 := rode.Kr(rode.ThreeStrand, 5, 5)
	stiff, err2 := rode.Kr(rode.ThreeStrand, 10, 5)
	loose, err3 := rode.Kr(rode.ThreeStrand, 5, 8)
	if err1 != nil || err2 != nil || err3 != nil {
		t.Fatal(err1, err2, err3)
	}
	if !(stiff.Mid > soft.Mid && loose.Mid < soft.Mid) {
		t.Errorf("stiffness %g must grow with mean load (%g) and fall with amplitude (%g)", soft.Mid, stiff.Mid, loose.Mid)
	}
	if soft.LowSource == "" || soft.MidSource == "" || soft.HighSource == "" {
		t.Errorf("an estimate has no source: %+v", soft)
	}
}

func TestKdTopsUpTheStaticTangent(t *testing.T) {
	t.Parallel()
	c := curve(t, 1, 83300)
	for _, e := range []float64{0, 0.02, 0.1, 0.3, 0.5} {
		kd, err := c.Kd(3.54, e)
		if err != nil {
			t.Fatal(err)
		}
		tangent := 1 + 12*e*e
		near(t, fmt.Sprintf("total at %g", e), kd+tangent, math.Max(3.54, tangent), 1e-12)
		if none, err := c.Kd(0, e); none != 0 || err != nil {
			t.Errorf("Kr 0 at %g: got %g, %v, want the static curve alone", e, none, err)
		}
	}
}

// Quick cycling finds the total stiffness, slow loading the static slope, and the loss between the
// two is greatest at w tau = 1.
func TestSolidHasItsLimits(t *testing.T) {
	t.Parallel()
	s, err := rode.NewSolid(curve(t, 1, 83300), 2.5, 60)
	if err != nil {
		t.Fatal(err)
	}
	harmonic := func(w float64) (float64, float64) {
		storage, loss, err := s.Harmonic(0.05, w)
		if err != nil {
			t.Fatal(err)
		}
		return storage, loss
	}
	slow, _ := harmonic(1e-9)
	quick, _ := harmonic(1000)
	near(t, "slow", slow, s.Stiffness(0.05), 1e-9)
	near(t, "quick", quick, s.Stiffness(0.05)+2.5*83300, 1e-8)
	_, top := harmonic(1.0 / 60)
	near(t, "greatest loss", top, 2.5*83300/2, 1e-12)
	for _, w := range []float64{0.5 / 60, 2.0 / 60} {
		if _, loss := harmonic(w); loss >= top {
			t.Errorf("loss %g at %g rad/s is not below %g", loss, w, top)
		}
	}
}

func TestRateIntegratesToTheRelaxationCurve(t *testing.T) {
	t.Parallel()
	s, err := rode.NewSolid(curve(t, 1, 83300), 2.5, 30)
	if err != nil {
		t.Fatal(err)
	}
	q, err := s.FadingN(0.02, 0)
	if err != nil {
		t.Fatal(err)
	}
	const dt = 0.01
	for i := 1; i <= 6000; i++ {
		half := q + dt/2*s.Rate(q, 0)
		q += dt * s.Rate(half, 0)
		if i%1000 != 0 {
			continue
		}
		want, err := s.FadingN(0.02, float64(i)*dt)
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("after %g s", float64(i)*dt), q, want, 1e-5)
	}
	near(t, "rate of a stretching rope", s.Rate(0, 0.001), 2.5*83300*0.001, 1e-12)
}

func TestSnapLoadKeepsTheEnergy(t *testing.T) {
	t.Parallel()
	for _, m := range []float64{100, 5500, 9e4} {
		const v, ae, l = 1.7, 3e5, 120.0
		load, err := rode.SnapLoadN(v, ae, l, m)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "spring energy over kinetic", load*load*l/ae, m*v*v, 1e-12)
	}
}

func TestDynamicRefuses(t *testing.T) {
	t.Parallel()
	c := curve(t, 1, 1e5)
	s, err := rode.NewSolid(c, 1, 60)
	if err != nil {
		t.Fatal(err)
	}
	nan := math.NaN()
	for name, call := range map[string]func() error{
		"unknown construction": func() error { _, err := rode.Kr("wire", 1, 1); return err },
		"mean over strength":   func() error { _, err := rode.Kr(rode.Plaited, 101, 1); return err },
		"NaN amplitude":        func() error { _, err := rode.Kr(rode.Plaited, 1, nan); return err },
		"negative Kr":          func() error { _, err := c.Kd(-1, 0); return err },
		"NaN stretch":          func() error { _, err := c.Kd(1, nan); return err },
		"negative Kd":          func() error { _, err := rode.NewSolid(c, -1, 60); return err },
		"no relaxation time":   func() error { _, err := rode.NewSolid(c, 1, 0); return err },
		"negative step":        func() error { _, err := s.FadingN(-1, 0); return err },
		"before the step":      func() error { _, err := s.FadingN(0.1, -1); return err },
		"harmonic of NaN":      func() error { _, _, err := s.Harmonic(nan, 1); return err },
		"endless frequency":    func() error { _, _, err := s.Harmonic(0, math.Inf(1)); return err },
		"snap of no length":    func() error { _, err := rode.SnapLoadN(1, 1, 0, 1); return err },
	} {
		if call() == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}
