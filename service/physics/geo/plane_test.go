package geo_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
)

var origins = [][2]float64{{0, 0}, {49.2, -8.7}, {-40, 179.9}, {71, 25}, {-89.9, 100}, {90, 0}}

func xy(t *testing.T, p geo.Plane, q geo.Point) geo.XY {
	t.Helper()
	v, err := p.XY(q)
	if err != nil {
		t.Fatalf("%+v on the plane about %+v: %v", q, p.Origin(), err)
	}
	return v
}

func point(t *testing.T, p geo.Plane, v geo.XY) geo.Point {
	t.Helper()
	q, err := p.Point(v)
	if err != nil {
		t.Fatalf("%+v of the plane about %+v: %v", v, p.Origin(), err)
	}
	return q
}

func TestPlaneRoundTrips(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	for _, o := range origins {
		plane := geo.NewPlane(at(t, o[0], o[1]))
		for range 2000 {
			reach := math.Pow(10, 7*r.Float64()) / math.Sqrt2
			v := geo.XY{EastM: reach * (2*r.Float64() - 1), NorthM: reach * (2*r.Float64() - 1)}
			back := xy(t, plane, point(t, plane, v))
			near(t, "east", back.EastM, v.EastM, 1e-7)
			near(t, "north", back.NorthM, v.NorthM, 1e-7)
		}
	}
}

// From the origin lengths and azimuths are those of the geodesic, whatever its length.
func TestPlaneIsTheGeodesicFromItsOrigin(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 4))
	for range 2000 {
		a, b := somewhere(r), somewhere(r)
		c := inverse(t, a, b)
		if c.DistanceM > 1e7 {
			continue
		}
		v := xy(t, geo.NewPlane(a), b)
		near(t, "length", math.Hypot(v.EastM, v.NorthM), c.DistanceM, 1e-8)
		same(t, "azimuth", quantity.Angle(math.Atan2(v.EastM, v.NorthM)).Normalised(), c.Initial, 1e-12)
	}
}

// Across the line from the origin, lengths are drawn too long by 1 + s2/(6 R2). The ellipsoid's radii of curvature
// lie within 0.7 % of R, so the excess within 1.4 %; its next term is 0.3 % of it at 1,000 km.
func TestPlaneScale(t *testing.T) {
	t.Parallel()
	const radiusM = 6371000.0
	for _, o := range origins[:4] {
		plane := geo.NewPlane(at(t, o[0], o[1]))
		for _, s := range []float64{30e3, 150e3, 500e3, 1000e3} {
			for _, azimuth := range []float64{0.3, 1.8, 4} {
				const apart = 1e-2
				a := geo.XY{EastM: s * math.Sin(azimuth), NorthM: s * math.Cos(azimuth)}
				b := geo.XY{EastM: s * math.Sin(azimuth+apart), NorthM: s * math.Cos(azimuth+apart)}
				drawn := math.Hypot(a.EastM-b.EastM, a.NorthM-b.NorthM)
				true12 := inverse(t, point(t, plane, a), point(t, plane, b)).DistanceM
				excess := s * s / (6 * radiusM * radiusM)
				near(t, "excess", drawn/true12-1, excess, 0.02*excess)
			}
		}
	}
}

func TestPlaneOriginAndReach(t *testing.T) {
	t.Parallel()
	origin := at(t, 49.2, -8.7)
	plane := geo.NewPlane(origin)
	if plane.Origin() != origin {
		t.Errorf("origin %+v, want %+v", plane.Origin(), origin)
	}
	if v := xy(t, plane, origin); v != (geo.XY{}) {
		t.Errorf("the origin lies at %+v", v)
	}
	here(t, "zero", point(t, plane, geo.XY{}), origin, 1e-9)
	here(t, "the plane of no origin", point(t, geo.Plane{}, geo.XY{EastM: 111319.490793}), at(t, 0, 1), 1e-6)
	refuse(t, "distance from the plane's origin", second(plane.XY(at(t, -49, 170))))
	refuse(t, "distance from the plane's origin", second(plane.Point(geo.XY{EastM: 1e7, NorthM: 1e6})))
	refuse(t, "distance from the plane's origin", second(plane.Point(geo.XY{EastM: math.NaN()})))
}

func BenchmarkPlaneXY(b *testing.B) {
	plane, q := geo.NewPlane(at(b, 40.6, -73.8)), at(b, 42.6, -70.5)
	for b.Loop() {
		if _, err := plane.XY(q); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPlanePoint(b *testing.B) {
	plane := geo.NewPlane(at(b, 40.6, -73.8))
	for b.Loop() {
		if _, err := plane.Point(geo.XY{EastM: 2e5, NorthM: 3e5}); err != nil {
			b.Fatal(err)
		}
	}
}
