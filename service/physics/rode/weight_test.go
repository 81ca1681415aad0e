package rode_test

import (
	"fmt"
	"math"
	"testing"

	"rideout/service/physics/rode"
)

// The closed form against a chain of short straight links.
func TestCanopyDepthAgreesWithSummedLinks(t *testing.T) {
	t.Parallel()
	for _, w := range []float64{0, 0.3, 5} {
		for _, end := range []float64{0, 50, 600} {
			if w == 0 && end == 0 {
				continue
			}
			h := rode.Hang{PullN: 4000, RodeWeightNM: w, LengthM: 120}
			got, err := h.CanopyDepthM(end)
			if err != nil {
				t.Fatal(err)
			}
			const links = 20000
			ds, depth := h.LengthM/links, 0.0
			for i := range links {
				down := end + w*ds*(float64(i)+0.5)
				depth += ds * down / math.Hypot(h.PullN, down)
			}
			near(t, fmt.Sprintf("w %g N/m, end %g N", w, end), got, depth, 1e-8)
		}
	}
}

func TestEndWeightInvertsDepth(t *testing.T) {
	t.Parallel()
	for _, w := range []float64{0, 0.3, 5} {
		h := rode.Hang{PullN: 4000, RodeWeightNM: w, LengthM: 120}
		bare, err := h.CanopyDepthM(0)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range []float64{bare + 1, 15, 40, 110} {
			end, err := h.EndWeightN(d)
			if err != nil {
				t.Fatal(err)
			}
			back, err := h.CanopyDepthM(end)
			if err != nil {
				t.Fatal(err)
			}
			near(t, fmt.Sprintf("w %g N/m, depth %g m", w, d), back, d, 1e-12)
		}
		if end, err := h.EndWeightN(bare / 2); end != 0 || err != nil {
			t.Errorf("a rode that hangs deeper by itself wants %g N, %v", end, err)
		}
	}
}

func TestHarderPullLiftsTheCanopy(t *testing.T) {
	t.Parallel()
	last := math.Inf(1)
	for pull := 500.0; pull < 1e5; pull *= 1.5 {
		d, err := rode.Hang{PullN: pull, RodeWeightNM: 0.3, LengthM: 100}.CanopyDepthM(300)
		if err != nil {
			t.Fatal(err)
		}
		if !(d < last && d > 0 && d < 100) {
			t.Fatalf("pull %g N: depth %g m after %g m", pull, d, last)
		}
		last = d
	}
	w, err := rode.SteelWeightInWaterN(20)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "20 kg of chain", w, 20*9.80665*(1-1025.0/7850), 1e-12)
}

func TestHangRefuses(t *testing.T) {
	t.Parallel()
	good := rode.Hang{PullN: 4000, RodeWeightNM: 1, LengthM: 100}
	for name, call := range map[string]func() error{
		"no pull":         func() error { _, err := rode.Hang{0, 1, 100}.CanopyDepthM(1); return err },
		"negative weight": func() error { _, err := rode.Hang{1000, -1, 100}.CanopyDepthM(1); return err },
		"no length":       func() error { _, err := rode.Hang{1000, 1, 0}.EndWeightN(0); return err },
		"NaN end weight":  func() error { _, err := good.CanopyDepthM(math.NaN()); return err },
		"depth of length": func() error { _, err := good.EndWeightN(100); return err },
	} {
		if call() == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}
