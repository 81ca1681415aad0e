package seaway_test

import (
	"math"
	"testing"

	"rideout/service/physics/seaway"
)

func TestMaximaAreThoseOfTheExceedance(t *testing.T) {
	t.Parallel()
	for _, d := range []seaway.Heights{seaway.Rayleigh, seaway.Forristall} {
		for _, n := range []float64{2, 100, 1500, 1e6} {
			h, err := d.MostProbableMaximum(5, n)
			if err != nil {
				t.Fatal(err)
			}
			q, err := d.Exceedance(h, 5)
			if err != nil || math.Abs(q*n-1) > 1e-9 {
				t.Errorf("%d waves of distribution %d: %g exceed the most probable maximum, want 1, %v", int(n), d, q*n, err)
			}
			for _, p := range []float64{0.01, 0.5, 0.9, 0.999} {
				h, err := d.MaximumNotExceeded(5, n, p)
				if err != nil {
					t.Fatal(err)
				}
				q, err := d.Exceedance(h, 5)
				if got := math.Pow(1-q, n); err != nil || math.Abs(got-p) > 1e-6 {
					t.Errorf("%d waves: highest stays below %g with probability %g, want %g, %v", int(n), h, got, p, err)
				}
			}
		}
	}
}

func TestForristallIsBelowRayleigh(t *testing.T) {
	t.Parallel()
	for _, n := range []float64{10, 1000, 1e5} {
		r, err1 := seaway.Rayleigh.MostProbableMaximum(5, n)
		f, err2 := seaway.Forristall.MostProbableMaximum(5, n)
		if err1 != nil || err2 != nil || !(f < r && f > 0.85*r) {
			t.Errorf("of %g waves: Forristall %g, Rayleigh %g, %v %v", n, f, r, err1, err2)
		}
	}
	if q, err := seaway.Rayleigh.Exceedance(1, 0); err != nil || q != 0 {
		t.Errorf("in a calm %g of the waves are above 1 m, want 0, %v", q, err)
	}
	if q, err := seaway.Rayleigh.Exceedance(0, 3); err != nil || q != 1 {
		t.Errorf("%g of the waves are above nothing, want 1, %v", q, err)
	}
}

func TestBreakingLimits(t *testing.T) {
	t.Parallel()
	deep, err1 := seaway.MicheHeight(100, inf)
	shallow, err2 := seaway.MicheHeight(100, 0.5)
	if err1 != nil || err2 != nil || math.Abs(shallow/(0.142*2*math.Pi*0.5)-1) > 1e-3 {
		t.Errorf("Miche deep %g, shallow %g, want the latter .892 h", deep, shallow)
	}
	ocean, err := seaway.DepthLimitedHeight(8, inf)
	if length, _ := seaway.Wavelength(8, inf); err != nil || math.Abs(ocean-0.142*length) > 1e-9 {
		t.Errorf("in deep water limited to %g m, want Miche's %g m, %v", ocean, 0.142*length, err)
	}
	last := 0.0
	for h := 0.5; h < 200; h *= 1.5 {
		now, err := seaway.DepthLimitedHeight(10, h)
		if err != nil || now < last || now > 0.78*h {
			t.Errorf("depth %g m: limit %g m after %g m, %v", h, now, last, err)
		}
		last = now
	}
	for tp, want := range map[float64]float64{5: 1.0 / 15, 8: 1.0 / 15, 15: 1.0 / 25, 20: 1.0 / 25, 11.5: (1.0/15 + 1.0/25) / 2} {
		if got, err := seaway.SteepestSea(tp); err != nil || math.Abs(got-want) > 1e-12 {
			t.Errorf("SteepestSea(%g) = %g, %v, want %g", tp, got, err, want)
		}
	}
}

func TestExtremesRefuse(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	refuse(t, "wave height", one(seaway.Rayleigh.Exceedance(-1, 3)))
	refuse(t, "significant wave height", one(seaway.Rayleigh.Exceedance(1, nan)))
	refuse(t, "significant wave height", one(seaway.Rayleigh.MostProbableMaximum(-3, 100)))
	refuse(t, "number of waves", one(seaway.Forristall.MostProbableMaximum(3, 0)))
	refuse(t, "number of waves", one(seaway.Forristall.MaximumNotExceeded(3, 0.5, 0.9)))
	refuse(t, "probability", one(seaway.Rayleigh.MaximumNotExceeded(3, 100, 1)))
	refuse(t, "wave height", one(seaway.Steepness(nan, 8)))
	refuse(t, "wave period", one(seaway.Steepness(1, 0)))
	refuse(t, "peak period", one(seaway.SteepestSea(0)))
	refuse(t, "wave length", one(seaway.MicheHeight(0, 10)))
	refuse(t, "water depth", one(seaway.MicheHeight(100, 0)))
	refuse(t, "water depth", one(seaway.DepthLimitedHeight(10, -1)))
}
