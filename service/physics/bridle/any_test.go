package bridle_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"rideout/service/physics/bridle"
	"rideout/service/physics/quantity"
)

// Vessels, weathers and strong points of every kind: an answer of finite numbers or an error of a known kind, and what
// Set gives is where she comes to rest.
func TestAnyVessel(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(3, 4))
	between := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, rng.Float64()) }
	holds := 0
	for range 400 {
		y := []bridle.Lying{power, sail, cat}[rng.IntN(3)]
		y.CanopyDragAreaM2 = between(0.01, 1000)
		y.Tendency = bridle.Tendency(rng.IntN(3))
		y.Weather = bridle.Weather{
			WindMS: between(1, 60), HeadDriftN: between(1, 1e5), BeamDriftN: between(1, 1e5),
			SeaOffWind: quantity.Degrees(360*rng.Float64() - 180),
		}
		aft := bridle.Point{Name: "aft", FromBowM: between(0.5, 11), OffCentreM: 3 * (rng.Float64() - 0.5)}
		from := quantity.Degrees(math.Copysign(90*rng.Float64(), aft.OffCentreM))
		e, err := y.Settle(bridle.Plain(bitt), from)
		if err != nil {
			t.Fatalf("%+v: %v", y, err)
		}
		finite(t, y, e.Heading.Radians(), e.StiffnessNMPerRad, e.RodeN, e.DriftMS)
		if !e.Stable {
			t.Errorf("%+v: at rest at %g degrees and not stable", y, e.Heading.Degrees())
		}
		b, err := y.Set(bitt, aft, from, bridle.Limits{})
		if refusal := new(bridle.Refusal); errors.As(err, &refusal) {
			continue
		} else if err != nil {
			t.Fatalf("%+v: %v", y, err)
		}
		holds++
		finite(t, y, b.Fore.LengthM, b.Aft.LengthM, b.MeetsAtM, b.LegAngle.Radians(), b.RodeN, b.ForeShare, b.AftShare, b.StiffnessNMPerRad)
		near(t, "heading on the bridle", settle(t, y, b.Legs, from.Degrees()).Heading.Degrees(), from.Degrees(), 1e-5)
		if longest := math.Max(b.Fore.LengthM, b.Aft.LengthM); longest > 2*y.Hull.LOAM*(1+1e-9) || !(b.StiffnessNMPerRad > 0) {
			t.Errorf("%+v: %+v", y, b)
		}
	}
	if holds < 40 {
		t.Errorf("only %d of 400 headings could be held: the test says little", holds)
	}
}

func finite(t *testing.T, y bridle.Lying, values ...float64) {
	t.Helper()
	for i, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("%+v: value %d is %g", y, i, v)
		}
	}
}
