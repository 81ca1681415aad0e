package sun_test

import (
	"math/rand/v2"
	"testing"

	"rideout/service/physics/geo"
	"rideout/service/physics/sun"
)

func dayAt(t *testing.T, p geo.Point, date sun.Instant) sun.Day {
	t.Helper()
	d, err := sun.DayAt(p, date)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestZeroEventIsNoTime(t *testing.T) {
	t.Parallel()
	if when, ok := (sun.Event{}).At(); ok {
		t.Errorf("an event of no kind is at %d", when)
	}
}

// Every event lies at its altitude, in its half of the day, and in order.
func TestDayHoldsTogether(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		p := at(t, 180*(r.Float64()-0.5), 360*(r.Float64()-0.5))
		d := dayAt(t, p, anInstant(r))
		near(t, "altitude at noon", position(t, p, d.Noon).Altitude.Degrees(), d.NoonAltitude.Degrees(), 1e-4)
		before, after := d.Noon, d.Noon
		for _, e := range []struct {
			altitudeDeg float64
			dawn, dusk  sun.Event
		}{
			{-50. / 60, d.Rise, d.Set},
			{-6, d.CivilDawn, d.CivilDusk},
			{-12, d.NauticalDawn, d.NauticalDusk},
		} {
			if when, ok := e.dawn.At(); ok {
				near(t, "altitude at dawn", position(t, p, when).Altitude.Degrees(), e.altitudeDeg, 0.003)
				if when > before || when < d.Noon-aDay/2-60 {
					t.Errorf("%+v: dawn of %g degrees at %d, noon at %d", p, e.altitudeDeg, when, d.Noon)
				}
				before = when
			}
			if when, ok := e.dusk.At(); ok {
				near(t, "altitude at dusk", position(t, p, when).Altitude.Degrees(), e.altitudeDeg, 0.003)
				if when < after || when > d.Noon+aDay/2+60 {
					t.Errorf("%+v: dusk of %g degrees at %d, noon at %d", p, e.altitudeDeg, when, d.Noon)
				}
				after = when
			}
		}
	}
}

// Each date has a day of its own: a year has as many risings as days, a day apart, on either side of the date line
// too.
func TestDaysFollowOneAnother(t *testing.T) {
	t.Parallel()
	begin := utc(2024, 1, 1, 0, 0, 0)
	for _, longitude := range []float64{0, 170, -170, 179.999, -180} {
		p := at(t, 50, longitude)
		previous := dayAt(t, p, begin-1)
		for date := begin; date < begin+366*aDay; date += aDay {
			d := dayAt(t, p, date)
			if whole := dayAt(t, p, date+aDay-1); whole != d {
				t.Fatalf("longitude %g, %d: the last second of the date has another day: %+v, %+v", longitude, date, d, whole)
			}
			near(t, "noon after noon", float64(d.Noon-previous.Noon), float64(aDay), 33)
			was, _ := previous.Rise.At()
			is, ok := d.Rise.At()
			if !ok {
				t.Fatalf("longitude %g, %d: %+v", longitude, date, d)
			}
			near(t, "rising after rising", float64(is-was), float64(aDay), 150)
			previous = d
		}
	}
}

// Far from Greenwich an event bears another date than noon.
func TestEventsOnTheNeighbouringDate(t *testing.T) {
	t.Parallel()
	leap := utc(2024, 2, 29, 0, 0, 0)
	set, _ := dayAt(t, at(t, 20, -170), leap).Set.At()
	if set < leap+aDay || set > leap+30*hour {
		t.Errorf("at 170 W the sun sets %g h after 00:00 UTC, want the morning after", float64(set-leap)/3600)
	}
	rise, _ := dayAt(t, at(t, 20, 170), leap).Rise.At()
	if rise > leap || rise < leap-6*hour {
		t.Errorf("at 170 E the sun rises %g h after 00:00 UTC, want the evening before", float64(rise-leap)/3600)
	}
}

// Fifteen degrees of longitude are an hour.
func TestNoonByLongitude(t *testing.T) {
	t.Parallel()
	date := utc(2025, 11, 3, 0, 0, 0)
	greenwich := dayAt(t, at(t, 10, 0), date)
	for longitude := -180.0; longitude < 180; longitude += 15 {
		d := dayAt(t, at(t, 10, longitude), date)
		near(t, "noon", float64(d.Noon-greenwich.Noon), -longitude*240, 20) // the equation of time changes by 30 s a day at most
	}
}

// The polar day of the north falls in the polar night of the south, and both end.
func TestPolarDayAndNight(t *testing.T) {
	t.Parallel()
	days := map[sun.Passage]int{}
	for date := utc(2025, 2, 1, 0, 0, 0); date < utc(2026, 2, 1, 0, 0, 0); date += aDay {
		north, south := dayAt(t, at(t, 70, 0), date), dayAt(t, at(t, -70, 0), date)
		days[north.Set.Passage]++
		if south.Set.Passage == sun.StaysBelow && north.Set.Passage != sun.StaysAbove {
			t.Errorf("%d: night in the south, %q in the north", date, north.Set.Passage)
		}
		for _, d := range []sun.Day{north, south} {
			if d.Rise.Passage == sun.StaysAbove && d.CivilDawn.Passage != sun.StaysAbove {
				t.Errorf("%d: the sun stays above the horizon and %q 6 degrees below", date, d.CivilDawn.Passage)
			}
			if d.NauticalDusk.Passage == sun.StaysBelow && d.Set.Passage != sun.StaysBelow {
				t.Errorf("%d: the sun stays 12 degrees below and %q the horizon", date, d.Set.Passage)
			}
		}
	}
	// ephem 4.1.4: no set from 16 May to 26 July; USNO, one-day data: no rise from 25 November to 16 January
	if days[sun.StaysAbove] != 72 || days[sun.StaysBelow] != 53 {
		t.Errorf("%v, want 72 days above and 53 below", days)
	}
}
