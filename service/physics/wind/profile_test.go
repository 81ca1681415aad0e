package wind_test

import (
	"errors"
	"math"
	"testing"

	"rideout/service/physics/quantity"
	"rideout/service/physics/wind"
)

func TestProfile(t *testing.T) {
	t.Parallel()
	if u, err := wind.At(25, 10, 600); err != nil || u != 25 {
		t.Errorf("the 10 min mean at 10 m is %g, %v, want the 25 m/s given", u, err)
	}
	last := 0.0
	for z := 0.1; z <= 100; z *= 1.5 {
		u, err := wind.At(25, z, 600)
		if err != nil || !(u > last) {
			t.Errorf("at %g m: %g m/s after %g, %v", z, u, last, err)
		}
		last = u
	}
	last = math.Inf(1)
	for T := 1.0; T <= 3600; T *= 1.5 {
		u, err := wind.At(25, 10, T)
		double, err2 := wind.At(50, 10, T)
		if err != nil || err2 != nil || !(u < last) || math.Abs(double-2*u) > 1e-12 {
			t.Errorf("over %g s: %g m/s after %g, at twice the wind %g, %v", T, u, last, double, err)
		}
		last = u
	}
}

// Two sources for averaging times, neither made from the other.
func TestProfileAgainstAtSeaFactors(t *testing.T) {
	t.Parallel()
	for _, f := range wind.AtSeaFactors() {
		u, err := wind.At(20, 10, f.AveragingS)
		if err != nil {
			t.Fatal(err)
		}
		if over := u / 20 / f.Ratio; !(over >= 1 && over < 1.06) {
			t.Errorf("over %g s the profile stands at %.3f of the published factor, want 1 to 1.06", f.AveragingS, over)
		}
	}
	band := wind.GustRatio()
	if three := wind.AtSeaFactors()[0].Ratio; !(band.Low < three && three < band.High) || band.Source == "" {
		t.Errorf("the published 3 s factor %g is outside the band %+v", three, band)
	}
}

func TestToHour(t *testing.T) {
	t.Parallel()
	if r, err := wind.ToHour(3600); err != nil || math.Abs(r-1) > 1e-3 {
		t.Errorf("an hour over an hour is %g, %v, want 1", r, err)
	}
	last := 2.0
	for T := 1.0; T <= 36000; T *= 1.3 {
		r, err := wind.ToHour(T)
		// the two branches of the source meet with a step of 0.0003
		if err != nil || r > last+5e-4 {
			t.Errorf("over %g s: %g after %g, %v", T, r, last, err)
		}
		last = r
	}
}

func TestGust(t *testing.T) {
	t.Parallel()
	b, err := wind.EstimateGust(20)
	if err != nil || !(20 < b.Low && b.Low < b.Mid && b.Mid < b.High) {
		t.Errorf("gusts of 20 m/s: %+v, %v", b, err)
	}
	if calm, err := wind.EstimateGust(0); err != nil || calm != (quantity.Band{}) {
		t.Errorf("gusts of a calm: %+v, %v, want none", calm, err)
	}
}

func TestBeaufortRises(t *testing.T) {
	t.Parallel()
	last, err := wind.BeaufortOf(0)
	if err != nil || last.Force != 0 {
		t.Fatalf("a calm is %+v, %v", last, err)
	}
	for kt := 0.0; kt <= 119; kt += 0.25 {
		b, err := wind.BeaufortOf(quantity.MetresPerSecond(kt))
		if err != nil || b.Force < last.Force || b.Force > last.Force+1 || b.ProbableWaveM < last.ProbableWaveM || b.Name == "" {
			t.Errorf("%g kn: %+v after %+v, %v", kt, b, last, err)
		}
		if kt < b.LowKt-0.5 || (b.HighKt > 0 && kt > b.HighKt+0.5) {
			t.Errorf("%g kn is not in %+v", kt, b)
		}
		last = b
	}
	if last.Force != 12 || last.HighKt != 0 {
		t.Errorf("119 kn: %+v, want the open row 12", last)
	}
}

func TestWindRefuses(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	refuse(t, "wind speed", one(wind.At(-1, 10, 600)))
	refuse(t, "wind speed", one(wind.At(62, 10, 600)))
	refuse(t, "height", one(wind.At(20, 0, 600)))
	refuse(t, "averaging time", one(wind.At(20, 10, nan)))
	refuse(t, "averaging time", one(wind.ToHour(0)))
	refuse(t, "wind speed", one(wind.Pressure(nan)))
	refuse(t, "wind speed", one(wind.EstimateGust(-3)))
	refuse(t, "wind speed", one(wind.BeaufortOf(nan)))
	if u, err := wind.At(quantity.MetresPerSecond(120), 10, 600); err != nil {
		t.Errorf("120 kn: %g, %v, want it covered", u, err)
	}
}

// one drops the value and keeps the error.
func one[T any](_ T, err error) error { return err }

// refuse wants a range error on the named argument.
func refuse(t *testing.T, name string, err error) {
	t.Helper()
	var outside *quantity.RangeError
	if !errors.As(err, &outside) || outside.Name != name {
		t.Errorf("got error %v, want %q out of range", err, name)
	}
}
