package geo_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
)

func rhumb(t *testing.T, a, b geo.Point) geo.Course {
	t.Helper()
	c, err := geo.Rhumb(a, b)
	if err != nil {
		t.Fatalf("from %+v to %+v: %v", a, b, err)
	}
	return c
}

func TestRhumbRoundTripsAndReverses(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	for range 5000 {
		a, b := somewhere(r), somewhere(r)
		there, back := rhumb(t, a, b), rhumb(t, b, a)
		near(t, "length both ways", back.DistanceM, there.DistanceM, 1e-6)
		same(t, "turned about", back.Initial, there.Initial+math.Pi, 1e-12)
		same(t, "constant course", there.Final, there.Initial, 0)
		end, err := geo.RhumbDirect(a, there.Initial, there.DistanceM)
		if err != nil {
			t.Fatal(err)
		}
		here(t, "the end", end, b, 1e-6)
	}
}

// A short way is the same on one course and by the geodesic.
func TestRhumbOfAShortWay(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 4))
	for range 1000 {
		a := geo.Point{Latitude: quantity.Angle(2.4 * (r.Float64() - 0.5)), Longitude: quantity.Angle(6 * (r.Float64() - 0.5))}
		b, _, err := geo.Direct(a, quantity.Angle(6*r.Float64()), 1000)
		if err != nil {
			t.Fatal(err)
		}
		// the curve of 1 km beside its chord: s^3 tan2(phi)/24 R2, 7 um at 69 degrees
		near(t, "1 km", rhumb(t, a, b).DistanceM, 1000, 1e-5)
	}
}

// Nearly along a parallel the length is an integral, elsewhere a quotient of differences; they meet without a step.
func TestRhumbJoins(t *testing.T) {
	t.Parallel()
	for _, latitude := range []float64{0, 30, 60, -75, 85} {
		a := at(t, latitude, 0)
		join := 0.02 * math.Cos(a.Latitude.Radians())
		below := geo.Point{Latitude: a.Latitude - quantity.Angle(join*(1-1e-9)), Longitude: 1}
		above := geo.Point{Latitude: a.Latitude - quantity.Angle(join*(1+1e-9)), Longitude: 1}
		// the ends differ by 2e-9 of the difference of latitude
		near(t, "length", rhumb(t, a, above).DistanceM, rhumb(t, a, below).DistanceM, 2e-9*join*6.4e6+1e-6)
	}
}

func TestRhumbSpecialLines(t *testing.T) {
	t.Parallel()
	const quarterM = 10001965.7293 // WGS 84 quarter meridian, from memory
	for _, c := range []struct {
		what      string
		a, b      geo.Point
		distanceM float64
		courseDeg float64
	}{
		{"no line", at(t, 5, 6), at(t, 5, 6), 0, 0},
		{"to the pole along the meridian", at(t, 0, 20), at(t, 90, 140), quarterM, 0},
		{"pole to pole", at(t, 90, 20), at(t, -90, 140), 2 * quarterM, 180},
		{"half round goes east", at(t, 0, -60), at(t, 0, 120), math.Pi * 6378137, 90},
		{"and so does its way back", at(t, 0, 120), at(t, 0, -60), math.Pi * 6378137, 90},
		{"over the date line", at(t, 0, 179.5), at(t, 0, -179.5), 111319.4908, 90},
	} {
		got := rhumb(t, c.a, c.b)
		near(t, c.what, got.DistanceM, c.distanceM, 1e-3)
		same(t, c.what+", course", got.Initial, quantity.Degrees(c.courseDeg), 1e-12)
	}
}

func TestRhumbDirectAtThePoles(t *testing.T) {
	t.Parallel()
	const quarterM = 10001965.7293127
	up, err := geo.RhumbDirect(at(t, 0, 20), 0, quarterM)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "the pole", up.LatitudeDeg(), 90, 1e-11)
	down, err := geo.RhumbDirect(at(t, 90, 20), math.Pi, quarterM)
	if err != nil {
		t.Fatal(err)
	}
	here(t, "down again", down, at(t, 0, 20), 1e-5)
	refuse(t, "distance from the equator", second(geo.RhumbDirect(at(t, 80, 0), 0.1, 2e6)))
	refuse(t, "azimuth off the meridian at a pole", second(geo.RhumbDirect(at(t, 90, 0), 2, 1e5)))
}
