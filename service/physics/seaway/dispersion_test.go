package seaway_test

import (
	"errors"
	"math"
	"testing"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
	"rideout/service/physics/seaway"
)

var depths = []float64{1e-3, 0.01, 0.5, 3, 20, 75, 200, 4000, 1e7, inf}

func TestWavenumberSolvesTheDispersionRelation(t *testing.T) {
	t.Parallel()
	for _, h := range depths {
		for w := 1e-5; w < 1e3; w *= 1.7 {
			k, err := seaway.Wavenumber(w, h)
			if err != nil {
				t.Fatalf("Wavenumber(%g, %g): %v", w, h, err)
			}
			got := constant.G * k * math.Tanh(k*h)
			if rel := math.Abs(got/(w*w) - 1); !(rel < 1e-12) {
				t.Errorf("omega %g, depth %g: residual %g", w, h, rel)
			}
		}
	}
}

func TestDispersionLimits(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name       string
		got, want  float64
		err        error
		relativeTo float64
	}{
		limit("shallow celerity is sqrt(g h)", math.Sqrt(constant.G*0.5))(seaway.Celerity(500, 0.5)),
		limit("deep celerity is g T / 2 pi", constant.G*10/(2*math.Pi))(seaway.Celerity(10, inf)),
		limit("shallow groups run with the waves", 1)(seaway.GroupRatio(500, 0.5)),
		limit("deep groups run at half", 0.5)(seaway.GroupRatio(10, inf)),
		limit("very deep groups run at half", 0.5)(seaway.GroupRatio(1, 1000)),
		limit("deep orbital speed is pi H/T", math.Pi*6/9)(seaway.OrbitalSpeed(6, 9, 1000, 0)),
		limit("shallow orbital speed is H/2 sqrt(g/h)", 0.05*math.Sqrt(constant.G/0.5))(seaway.OrbitalSpeed(0.1, 500, 0.5, 0.5)),
		limit("no decay at the surface", 1)(seaway.Decay(0.6, 30, 0)),
		limit("shallow water moves as one", 1)(seaway.Decay(2*math.Pi/500, 0.5, 0.5)),
		limit("celerity by length", constant.G*10/(2*math.Pi))(seaway.CelerityOfLength(constant.G*100/(2*math.Pi), inf)),
	} {
		if c.err != nil || math.Abs(c.got-c.want) > 1e-4*c.relativeTo {
			t.Errorf("%s: got %g, %v, want %g", c.name, c.got, c.err, c.want)
		}
	}
	if still, err := seaway.Decay(0.6, inf, inf); err != nil || still != 0 {
		t.Errorf("at the bottom of an endless depth: %g, %v, want 0", still, err)
	}
}

type limitCase = struct {
	name       string
	got, want  float64
	err        error
	relativeTo float64
}

func limit(name string, want float64) func(float64, error) limitCase {
	return func(got float64, err error) limitCase { return limitCase{name, got, want, err, want} }
}

// The orbital speed at a depth and its decay are two formulas for one thing.
func TestDecayAgreesWithOrbitalSpeed(t *testing.T) {
	t.Parallel()
	for _, h := range []float64{2, 30, 500} {
		for _, z := range []float64{0, 0.7, 2} {
			top, err1 := seaway.OrbitalSpeed(2, 8, h, 0)
			there, err2 := seaway.OrbitalSpeed(2, 8, h, z)
			decay, err3 := seaway.Decay(2*math.Pi/8, h, z)
			if err := errors.Join(err1, err2, err3); err != nil || math.Abs(there/top-decay) > 1e-12 {
				t.Errorf("depth %g, at %g: %g of the surface, decay %g, %v", h, z, there/top, decay, err)
			}
		}
	}
}

func TestDispersionRefuses(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	refuse(t, "wave frequency", one(seaway.Wavenumber(0, 10)))
	refuse(t, "wave frequency", one(seaway.Wavenumber(nan, 10)))
	refuse(t, "water depth", one(seaway.Wavenumber(1, -2)))
	refuse(t, "water depth", one(seaway.Wavenumber(1, nan)))
	refuse(t, "wave period", one(seaway.Wavelength(0, 10)))
	refuse(t, "wave period", one(seaway.Celerity(0, 10)))
	refuse(t, "wave period", one(seaway.GroupRatio(inf, 10)))
	refuse(t, "wave length", one(seaway.CelerityOfLength(0, 10)))
	refuse(t, "water depth", one(seaway.CelerityOfLength(10, 0)))
	refuse(t, "wave height", one(seaway.OrbitalSpeed(-1, 10, 10, 0)))
	refuse(t, "wave period", one(seaway.OrbitalSpeed(1, -1, 10, 0)))
	refuse(t, "depth of the point", one(seaway.OrbitalSpeed(1, 10, 10, 11)))
	refuse(t, "wave frequency", one(seaway.Decay(-1, 10, 1)))
	refuse(t, "depth of the point", one(seaway.Decay(1, 10, 11)))
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
