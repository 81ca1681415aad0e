package sun_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
	"rideout/service/physics/sun"
)

const (
	hour  = sun.Instant(3600)
	aDay  = 24 * hour
	first = sun.Instant(-631152000) // 1950-01-01
	last  = sun.Instant(4133980800) // 2101-01-01
)

func at(t testing.TB, latitudeDeg, longitudeDeg float64) geo.Point {
	t.Helper()
	p, err := geo.At(latitudeDeg, longitudeDeg)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func position(t *testing.T, p geo.Point, when sun.Instant) sun.Position {
	t.Helper()
	got, err := sun.At(p, when)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.10g, want %.10g +- %g", what, got, want, tol)
	}
}

func refuse(t *testing.T, name string, err error) {
	t.Helper()
	var out *quantity.RangeError
	if !errors.As(err, &out) || out.Name != name {
		t.Errorf("error %v, want a range error of the %s", err, name)
	}
}

func second[A any](_ A, err error) error { return err }

func anInstant(r *rand.Rand) sun.Instant { return first + sun.Instant(r.Int64N(int64(last-first))) }

func TestOutsideTheTheory(t *testing.T) {
	t.Parallel()
	good, bad := at(t, 50, -8), geo.Point{Latitude: quantity.Angle(math.NaN())}
	for _, when := range []sun.Instant{first - 1, last + 1, math.MinInt64, math.MaxInt64} {
		refuse(t, "time", second(sun.Place(when)))
		refuse(t, "time", second(sun.At(good, when)))
		refuse(t, "time", second(sun.DayAt(good, when)))
		refuse(t, "time", second(sun.Light(good, when)))
		refuse(t, "time", second(sun.Spans(good, when, 0)))
		refuse(t, "time", second(sun.Spans(good, 0, when)))
	}
	refuse(t, "latitude", second(sun.At(bad, 0)))
	refuse(t, "latitude", second(sun.DayAt(bad, 0)))
	refuse(t, "latitude", second(sun.Light(bad, 0)))
	refuse(t, "latitude", second(sun.Spans(bad, 0, 1)))
	const span = "time from the first instant to the last"
	refuse(t, span, second(sun.Spans(good, 5, 5)))
	refuse(t, span, second(sun.Spans(good, 5, 4)))
	refuse(t, span, second(sun.Spans(good, 0, 401*aDay)))
}

// The ends of the range are within it.
func TestFirstAndLastDay(t *testing.T) {
	t.Parallel()
	for _, when := range []sun.Instant{first, last} {
		d, err := sun.DayAt(at(t, 50, 170), when)
		if err != nil || d.Rise.Passage != sun.Crosses {
			t.Errorf("%d: %+v, %v", when, d, err)
		}
	}
}

// The declination stays within the obliquity, and at the pole it is the altitude, less the parallax.
func TestAltitudeAtThePole(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	north, south := at(t, 90, 0), at(t, -90, 0)
	for range 1000 {
		when := anInstant(r)
		place, err := sun.Place(when)
		if err != nil {
			t.Fatal(err)
		}
		declination := place.Declination.Degrees()
		near(t, "declination", declination, 0, 23.45)
		parallax := 8.794 / 3600 * math.Cos(place.Declination.Radians())
		near(t, "altitude at the north pole", position(t, north, when).Altitude.Degrees(), declination-parallax, 1e-6)
		near(t, "altitude at the south pole", position(t, south, when).Altitude.Degrees(), -declination-parallax, 1e-6)
	}
}

// Places opposite each other see the sun in opposite directions, but for the parallax, which lowers it in both.
func TestAntipodes(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 4))
	for range 1000 {
		when := anInstant(r)
		latitude, longitude := 180*(r.Float64()-0.5), 180*r.Float64()
		here, there := position(t, at(t, latitude, longitude), when), position(t, at(t, -latitude, longitude-180), when)
		near(t, "altitudes", (here.Altitude + there.Altitude).Degrees(), 0, 0.0049)
		if math.Abs(here.Altitude.Degrees()) < 89 {
			// north is the same way in both, east is the other one
			near(t, "azimuths", math.Remainder((here.Azimuth+there.Azimuth).Degrees(), 360), 0, 1e-6)
		}
	}
}

func TestSunGoesRoundClockwiseNorthOfTheTropics(t *testing.T) {
	t.Parallel()
	const cancerDeg = 23.5
	for _, latitude := range []float64{cancerDeg + 1, 50, 80} {
		for when := sun.Instant(0); when < 365*aDay; when += 7 * hour {
			now, later := position(t, at(t, latitude, 20), when), position(t, at(t, latitude, 20), when+600)
			if turned := math.Remainder((later.Azimuth - now.Azimuth).Degrees(), 360); turned <= 0 {
				t.Fatalf("latitude %g, %d: turned %g degrees in ten minutes", latitude, when, turned)
			}
		}
	}
}
