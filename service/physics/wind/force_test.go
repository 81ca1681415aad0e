package wind_test

import (
	"math"
	"testing"

	"rideout/service/physics/quantity"
	"rideout/service/physics/wind"
)

var vessel = []wind.Part{
	{"topsides", 7, 17, 0.8, 5.8, 1.0},
	{"superstructure", 9, 22, 2.4, 5.5, 1.1},
}

func force(t *testing.T, parts []wind.Part, u10MS, offDeg, averagingS float64) wind.Load {
	t.Helper()
	load, err := wind.Force(parts, u10MS, quantity.Degrees(offDeg), averagingS)
	if err != nil {
		t.Fatal(err)
	}
	return load
}

func TestForceIsTheSumOfItsParts(t *testing.T) {
	t.Parallel()
	for _, off := range []float64{0, 30, 75, 140} {
		whole := force(t, vessel, 20, off, 60)
		a, b := force(t, vessel[:1], 20, off, 60), force(t, vessel[1:], 20, off, 60)
		near(t, "along", whole.AlongN, a.AlongN+b.AlongN)
		near(t, "across", whole.AcrossN, a.AcrossN+b.AcrossN)
		near(t, "moment", whole.MomentNM, a.MomentNM+b.MomentNM)
	}
	if none := force(t, nil, 20, 30, 60); none != (wind.Load{}) {
		t.Errorf("no parts: %+v, want no load", none)
	}
}

func TestForceScalesAndMirrors(t *testing.T) {
	t.Parallel()
	for _, off := range []float64{0, 20, 60, 90, 135, 180} {
		one, two := force(t, vessel, 10, off, 60), force(t, vessel, 20, off, 60)
		near(t, "along at twice the wind", two.AlongN, 4*one.AlongN)
		near(t, "moment at twice the wind", two.MomentNM, 4*one.MomentNM)
		port, starboard := force(t, vessel, 20, -off, 60), force(t, vessel, 20, off, 60)
		near(t, "along mirrored", port.AlongN, starboard.AlongN)
		near(t, "across mirrored", port.AcrossN, -starboard.AcrossN)
		near(t, "moment mirrored", port.MomentNM, -starboard.MomentNM)
		astern := force(t, vessel, 20, off-180, 60)
		near(t, "along from the other end", astern.AlongN, -starboard.AlongN)
	}
}

func TestForceBySigns(t *testing.T) {
	t.Parallel()
	head, beam := force(t, vessel, 20, 0, 60), force(t, vessel, 20, 90, 60)
	if !(head.AlongN > 0) || head.AcrossN != 0 || head.MomentNM != 0 {
		t.Errorf("head wind: %+v, want her pushed straight astern", head)
	}
	if !(beam.AcrossN > 0 && beam.MomentNM > 0) || math.Abs(beam.AlongN) > 1e-9*beam.AcrossN {
		t.Errorf("wind on the starboard beam: %+v, want her pushed to port, held at the stem her bow to starboard", beam)
	}
	if arm := beam.MomentNM / beam.AcrossN; !(arm > 5.5 && arm < 5.8) {
		t.Errorf("beam wind bears %g m aft of the stem, want between the two parts", arm)
	}
	mean := force(t, vessel, 20, 0, 600)
	if !(head.AlongN > mean.AlongN) {
		t.Errorf("over 60 s %g N, over 600 s %g N, want the shorter time higher", head.AlongN, mean.AlongN)
	}
}

// The force along stays above the head-on one to past 35 degrees off the bow, falls from its greatest on, and is
// gone abeam; the force across rises all the way.
func TestForceOffTheBow(t *testing.T) {
	t.Parallel()
	head, beam := force(t, vessel, 20, 0, 60), force(t, vessel, 20, 90, 60)
	before := head
	for off := 1.0; off <= 90; off++ {
		now := force(t, vessel, 20, off, 60)
		share := now.AlongN / head.AlongN
		if off <= 36 && !(share >= 1 && share < 1.08) {
			t.Errorf("%g degrees off the bow: %g of the head-on force along, want 1 to 1.08", off, share)
		}
		if off > 25 && !(now.AlongN < before.AlongN) {
			t.Errorf("%g degrees off the bow: %g N along after %g N, want less", off, now.AlongN, before.AlongN)
		}
		if !(now.AcrossN > before.AcrossN) {
			t.Errorf("%g degrees off the bow: %g N across after %g N, want more", off, now.AcrossN, before.AcrossN)
		}
		near(t, "across over the sine", now.AcrossN/math.Sin(off*math.Pi/180), beam.AcrossN)
		before = now
	}
}

// By hand, factors to six digits: 20.578 m/s (40 kn); V(60 s, 0.8 m) = .762197 U, V(60 s, 2.4 m) = .912707 U.
func TestForceByHand(t *testing.T) {
	t.Parallel()
	got := force(t, vessel, quantity.MetresPerSecond(40), 0, 60)
	u := 40 * 1852.0 / 3600
	want := 0.5 * 1.225 * u * u * (7*0.762197*0.762197 + 1.1*9*0.912707*0.912707)
	if math.Abs(got.AlongN-want) > 0.01 {
		t.Errorf("head wind of 40 kn: %.3f N, want %.3f N", got.AlongN, want)
	}
}

func TestForceRefuses(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	refuse(t, "wind speed", one(wind.Force(vessel, nan, 0, 60)))
	refuse(t, "averaging time", one(wind.Force(vessel, 20, 0, 0)))
	refuse(t, "angle off the wind", one(wind.Force(vessel, 20, quantity.Angle(nan), 60)))
	refuse(t, "frontal area of house", one(wind.Force([]wind.Part{{"house", -1, 1, 1, 1, 1}}, 20, 0, 60)))
	refuse(t, "lateral area of house", one(wind.Force([]wind.Part{{"house", 1, nan, 1, 1, 1}}, 20, 0, 60)))
	refuse(t, "height of the centre of house", one(wind.Force([]wind.Part{{"house", 1, 1, 0, 1, 1}}, 20, 0, 60)))
	refuse(t, "distance of the centre from the bow of house", one(wind.Force([]wind.Part{{"house", 1, 1, 1, nan, 1}}, 20, 0, 60)))
	refuse(t, "shape coefficient of house", one(wind.Force([]wind.Part{{"house", 1, 1, 1, 1, 4}}, 20, 0, 60)))
	refuse(t, "wind speed", one(wind.HazenWindage(-1, 3, 1, 14, 0.15)))
	refuse(t, "mast height", one(wind.HazenWindage(20, 3, 1, nan, 0.15)))
}

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-9*(1+math.Abs(want)) {
		t.Errorf("%s: got %g, want %g", what, got, want)
	}
}
