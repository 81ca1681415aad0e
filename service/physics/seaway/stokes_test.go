package seaway_test

import (
	"math"
	"testing"

	"rideout/service/physics/constant"
	"rideout/service/physics/seaway"
)

// A spectrum of one line is the regular wave, at every depth.
func TestStokesDriftOfOneLine(t *testing.T) {
	t.Parallel()
	const a, w = 1.5, 0.7
	line := seaway.Spectrum{StepRadS: w, DensityM2S: []float64{0, a * a / 2 / w}}
	for _, z := range []float64{0, 1, 5, 20} {
		got, err1 := seaway.StokesDrift(line, z)
		want, err2 := seaway.StokesDriftRegular(2*a, 2*math.Pi/w, z)
		if err1 != nil || err2 != nil || math.Abs(got/want-1) > 1e-12 {
			t.Errorf("at %g m: %g, regular wave %g, %v %v", z, got, want, err1, err2)
		}
		k := w * w / constant.G
		if form := a * a * w * k * math.Exp(-2*k*z); math.Abs(want/form-1) > 1e-12 {
			t.Errorf("at %g m: %g, want (ka)^2 c exp(-2kz) = %g", z, want, form)
		}
	}
}

func TestStokesDriftFallsWithDepthAndAddsOverPartitions(t *testing.T) {
	t.Parallel()
	wind, swell := sea(t, 3, 7), sea(t, 3, 13)
	both, err := seaway.Add(wind, swell)
	if err != nil {
		t.Fatal(err)
	}
	last := inf
	for _, z := range []float64{0, 0.5, 2, 8, 30, inf} {
		a, _ := seaway.StokesDrift(wind, z)
		b, _ := seaway.StokesDrift(swell, z)
		sum, err := seaway.StokesDrift(both, z)
		if err != nil || !(sum < last) || math.Abs(sum-a-b) > 1e-12 {
			t.Errorf("at %g m: %g after %g, partitions %g + %g, %v", z, sum, last, a, b, err)
		}
		last = sum
	}
	refuse(t, "depth of the point", one(seaway.StokesDrift(wind, -1)))
	refuse(t, "depth of the point", one(seaway.StokesDriftRegular(1, 8, -1)))
	refuse(t, "wave height", one(seaway.StokesDriftRegular(-1, 8, 0)))
	refuse(t, "wave period", one(seaway.StokesDriftRegular(1, 0, 0)))
}
