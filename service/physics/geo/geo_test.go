package geo_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
)

func at(t testing.TB, latitudeDeg, longitudeDeg float64) geo.Point {
	t.Helper()
	p, err := geo.At(latitudeDeg, longitudeDeg)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func inverse(t testing.TB, a, b geo.Point) geo.Course {
	t.Helper()
	c, err := geo.Inverse(a, b)
	if err != nil {
		t.Fatalf("from %+v to %+v: %v", a, b, err)
	}
	return c
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.12g, want %.12g +- %g", what, got, want, tol)
	}
}

// here fails unless two points are the same to so many metres.
func here(t *testing.T, what string, got, want geo.Point, tolM float64) {
	t.Helper()
	if c := inverse(t, got, want); !(c.DistanceM <= tolM) {
		t.Errorf("%s: %g m from the place", what, c.DistanceM)
	}
}

func same(t *testing.T, what string, got, want quantity.Angle, tol float64) {
	t.Helper()
	if !(got.Apart(want).Radians() <= tol) || got < 0 || got >= 2*math.Pi {
		t.Errorf("%s: %.12g deg, want %.12g +- %g rad", what, got.Degrees(), want.Degrees(), tol)
	}
}

func refuse(t *testing.T, name string, err error) {
	t.Helper()
	var out *quantity.RangeError
	if !errors.As(err, &out) || out.Name != name {
		t.Errorf("error %v, want a range error of the %s", err, name)
	}
}

// somewhere spreads points evenly over the globe.
func somewhere(r *rand.Rand) geo.Point {
	return geo.Point{
		Latitude:  quantity.Angle(math.Asin(2*r.Float64() - 1)),
		Longitude: quantity.Angle(2 * math.Pi * (r.Float64() - 0.5)),
	}
}

func TestAt(t *testing.T) {
	t.Parallel()
	p := at(t, -41.5, 180)
	near(t, "latitude", p.LatitudeDeg(), -41.5, 1e-13)
	near(t, "180 is -180", p.LongitudeDeg(), -180, 0)
	near(t, "a hair west of it", at(t, 0, math.Nextafter(180, 0)).LongitudeDeg(), 180, 1e-12)
	for _, c := range []struct {
		latitudeDeg, longitudeDeg float64
		name                      string
	}{
		{90.0001, 0, "latitude"},
		{-91, 0, "latitude"},
		{math.NaN(), 0, "latitude"},
		{math.Inf(1), 0, "latitude"},
		{0, 180.0001, "longitude"},
		{0, -181, "longitude"},
		{0, math.NaN(), "longitude"},
	} {
		_, err := geo.At(c.latitudeDeg, c.longitudeDeg)
		refuse(t, c.name, err)
	}
}

// Points put together by hand are checked wherever they come in.
func TestPointsOutOfRangeAreRefused(t *testing.T) {
	t.Parallel()
	good, bad := at(t, 10, 20), geo.Point{Latitude: 2}
	lost := geo.Point{Longitude: quantity.Angle(math.NaN())}
	for name, err := range map[string]error{
		"inverse from":     second(geo.Inverse(bad, good)),
		"inverse to":       second(geo.Inverse(good, bad)),
		"rhumb from":       second(geo.Rhumb(bad, good)),
		"direct":           third(geo.Direct(bad, 0, 1)),
		"rhumb direct":     second(geo.RhumbDirect(bad, 0, 1)),
		"plane":            second(geo.NewPlane(good).XY(bad)),
		"plane about it":   second(geo.NewPlane(bad).XY(good)),
		"plane of no kind": second(geo.NewPlane(bad).Point(geo.XY{})),
	} {
		t.Run(name, func(t *testing.T) { t.Parallel(); refuse(t, "latitude", err) })
	}
	refuse(t, "longitude", second(geo.Inverse(good, lost)))
	for _, distanceM := range []float64{-1, math.NaN(), math.Inf(1), 5e7} {
		refuse(t, "distance", third(geo.Direct(good, 0, distanceM)))
		refuse(t, "distance", second(geo.RhumbDirect(good, 0, distanceM)))
	}
	refuse(t, "azimuth", third(geo.Direct(good, quantity.Angle(math.NaN()), 1)))
	refuse(t, "azimuth", second(geo.RhumbDirect(good, quantity.Angle(math.Inf(1)), 1)))
}

func second[A any](_ A, err error) error { return err }

func third[A, B any](_ A, _ B, err error) error { return err }
