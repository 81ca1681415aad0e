package geo_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
)

func direct(t *testing.T, a geo.Point, azimuth quantity.Angle, distanceM float64) (geo.Point, quantity.Angle) {
	t.Helper()
	b, final, err := geo.Direct(a, azimuth, distanceM)
	if err != nil {
		t.Fatalf("from %+v, %g deg, %g m: %v", a, azimuth.Degrees(), distanceM, err)
	}
	return b, final
}

// Following the shortest line leads to the other point, and it is the same line walked back.
func TestGeodesicRoundTripsAndReverses(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	for range 5000 {
		a, b := somewhere(r), somewhere(r)
		there, back := inverse(t, a, b), inverse(t, b, a)
		near(t, "length both ways", back.DistanceM, there.DistanceM, 2e-8)
		end, final := direct(t, a, there.Initial, there.DistanceM)
		here(t, "the end", end, b, 1e-7)
		if there.DistanceM < 19.9e6 { // nearer the antipode azimuths at the end turn about in a few metres
			same(t, "turned about", back.Initial, there.Final+math.Pi, 1e-11)
			same(t, "final azimuth", final, there.Final, 1e-11)
		}
	}
}

// The globe is symmetrical about the equator and about every meridian, and the same at every longitude.
func TestGeodesicMirrors(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 4))
	mirror := func(p geo.Point) geo.Point { return geo.Point{Latitude: -p.Latitude, Longitude: p.Longitude} }
	turn := func(p geo.Point) geo.Point { return geo.Point{Latitude: p.Latitude, Longitude: -p.Longitude} }
	for range 1000 {
		a, b := somewhere(r), somewhere(r)
		c, south, west := inverse(t, a, b), inverse(t, mirror(a), mirror(b)), inverse(t, turn(a), turn(b))
		near(t, "mirrored at the equator", south.DistanceM, c.DistanceM, 2e-8)
		near(t, "mirrored at the meridian", west.DistanceM, c.DistanceM, 2e-8)
		same(t, "azimuth mirrored at the equator", south.Initial, math.Pi-c.Initial, 1e-10)
		same(t, "azimuth mirrored at the meridian", west.Initial, -c.Initial, 1e-10)
	}
}

func TestShortestIsShortest(t *testing.T) {
	t.Parallel()
	const tolM = 1e-7
	r := rand.New(rand.NewPCG(5, 6))
	for range 1000 {
		a, b, c := somewhere(r), somewhere(r), somewhere(r)
		ab, bc, ac := inverse(t, a, b).DistanceM, inverse(t, b, c).DistanceM, inverse(t, a, c).DistanceM
		if ac > ab+bc+tolM {
			t.Errorf("%+v to %+v is %g m, by %+v %g m", a, c, ac, b, ab+bc)
		}
		rhumb, err := geo.Rhumb(a, c)
		if err != nil || ac > rhumb.DistanceM+tolM {
			t.Errorf("%+v to %+v is %g m, on one course %g m, %v", a, c, ac, rhumb.DistanceM, err)
		}
	}
}

// About the antipode many lines are nearly as short; the two halves of each found must make the whole.
func TestNearTheAntipode(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(7, 8))
	for range 5000 {
		a := somewhere(r)
		off := math.Pow(10, -9+8*r.Float64())
		b := geo.Point{
			Latitude:  quantity.Angle(min(math.Pi/2, max(-math.Pi/2, -a.Latitude.Radians()+off*(r.Float64()-0.5)))),
			Longitude: a.Longitude - math.Pi + quantity.Angle(off*r.Float64()),
		}
		if b.Longitude < -math.Pi {
			b.Longitude += 2 * math.Pi
		}
		c := inverse(t, a, b)
		end, _ := direct(t, a, c.Initial, c.DistanceM)
		here(t, "the end", end, b, 1e-7)
		half, _ := direct(t, a, c.Initial, c.DistanceM/2)
		near(t, "half way", inverse(t, a, half).DistanceM, c.DistanceM/2, 1e-7)
		near(t, "the other half", inverse(t, half, b).DistanceM, c.DistanceM/2, 1e-7)
	}
}

func TestGeodesicSpecialLines(t *testing.T) {
	t.Parallel()
	const quarterM = 10001965.7293 // WGS 84 quarter meridian, from memory
	for _, c := range []struct {
		what        string
		a, b        geo.Point
		distanceM   float64
		initialDeg  float64
		finalDeg    float64
		tolM, tolRd float64
	}{
		{"no line", at(t, 12, 34), at(t, 12, 34), 0, 0, 0, 0, 0},
		{"pole to pole", at(t, 90, 0), at(t, -90, 0), 2 * quarterM, 180, 180, 1e-3, 1e-12},
		{"pole to pole, other longitudes", at(t, -90, 10), at(t, 90, 40), 2 * quarterM, 30, 0, 1e-3, 1e-12},
		{"one pole by two names", at(t, 90, 10), at(t, 90, 70), 0, 120, 180, 1e-9, 1e-12},
		{"antipodes on the equator go over the north", at(t, 0, 0), at(t, 0, 180), 2 * quarterM, 0, 180, 1e-3, 1e-7},
		{"the same at 30", at(t, 30, 0), at(t, -30, 180), 2 * quarterM, 0, 180, 1e-3, 1e-7},
		{"from the pole", at(t, 90, 0), at(t, 0, 50), quarterM, 130, 180, 1e-4, 1e-12},
		{"over the date line", at(t, 0, 179.5), at(t, 0, -179.5), 111319.490793, 90, 90, 1e-6, 1e-12},
		{"westward over it", at(t, 0, -179.5), at(t, 0, 179.5), 111319.490793, 270, 270, 1e-6, 1e-12},
	} {
		got := inverse(t, c.a, c.b)
		near(t, c.what, got.DistanceM, c.distanceM, c.tolM)
		same(t, c.what+", initial", got.Initial, quantity.Degrees(c.initialDeg), c.tolRd)
		same(t, c.what+", final", got.Final, quantity.Degrees(c.finalDeg), c.tolRd)
	}
}

// Lines of less than 0.2 m are computed otherwise; there is no step where the ways meet.
func TestShortestLinesJoin(t *testing.T) {
	t.Parallel()
	for _, latitude := range []float64{0, 35, -62, 89} {
		for _, azimuthDeg := range []float64{0, 40, 90, 200} {
			for _, distanceM := range []float64{1e-3, 0.15, 0.19, 0.191, 0.192, 0.2, 1} {
				a := at(t, latitude, 7)
				b, _ := direct(t, a, quantity.Degrees(azimuthDeg), distanceM)
				near(t, "length", inverse(t, a, b).DistanceM, distanceM, 5e-9)
			}
		}
	}
}

func TestDirectAnyAzimuthAndRound(t *testing.T) {
	t.Parallel()
	a := at(t, 47, -15)
	one, _ := direct(t, a, 1, 4e5)
	turned, _ := direct(t, a, 1-4*math.Pi, 4e5)
	here(t, "two turns less", turned, one, 1e-8)
	still, final := direct(t, a, 2, 0)
	here(t, "no distance", still, a, 1e-9)
	same(t, "and its azimuth", final, 2, 1e-15)
	home, _ := direct(t, a, 0, 4*10001965.7293127) // once round by the meridian
	here(t, "once round", home, a, 1e-7)
}
