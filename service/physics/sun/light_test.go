package sun_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"rideout/service/physics/geo"
	"rideout/service/physics/sun"
)

func spans(t *testing.T, p geo.Point, from, to sun.Instant) []sun.Span {
	t.Helper()
	got, err := sun.Spans(p, from, to)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func light(t *testing.T, p geo.Point, when sun.Instant) sun.Kind {
	t.Helper()
	kind, err := sun.Light(p, when)
	if err != nil {
		t.Fatal(err)
	}
	return kind
}

// Spans cover their time without gaps, differ from their neighbours, and say what Light says within them.
func TestSpansCoverAndAgreeWithLight(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		p := at(t, 180*(r.Float64()-0.5), 360*(r.Float64()-0.5))
		from := anInstant(r)
		to := min(from+1+sun.Instant(r.Int64N(int64(10*aDay))), last)
		next, before := from, sun.Kind("")
		for _, s := range spans(t, p, from, to) {
			if s.From != next || s.To <= s.From || s.Kind == before {
				t.Fatalf("%+v from %d: %+v after %q", p, next, s, before)
			}
			next, before = s.To, s.Kind
			for k := sun.Instant(1); k < 20; k++ { // not within a second of an end
				when := s.From + 1 + (s.To-s.From-2)*k/20
				if when > s.From && when < s.To-1 && light(t, p, when) != s.Kind {
					t.Errorf("%+v at %d: %q within %+v", p, when, light(t, p, when), s)
				}
			}
		}
		if next != to {
			t.Errorf("%+v: spans end at %d, want %d", p, next, to)
		}
	}
}

// The ends of spans are the events of the day.
func TestSpansAreTheDay(t *testing.T) {
	t.Parallel()
	p := at(t, 49.2, -8.7)
	d := dayAt(t, p, utc(2026, 11, 14, 0, 0, 0))
	var want []sun.Instant
	for _, e := range []sun.Event{d.CivilDawn, d.Rise, d.Set, d.CivilDusk} {
		when, ok := e.At()
		if !ok {
			t.Fatalf("%+v", d)
		}
		want = append(want, when)
	}
	got := spans(t, p, d.Noon-12*hour, d.Noon+12*hour)
	kinds := []sun.Kind{sun.Dark, sun.CivilTwilight, sun.Daylight, sun.CivilTwilight, sun.Dark}
	if len(got) != len(kinds) {
		t.Fatalf("%+v, want %d spans", got, len(kinds))
	}
	for i, s := range got {
		if s.Kind != kinds[i] {
			t.Errorf("span %d is %q, want %q", i, s.Kind, kinds[i])
		}
		if i > 0 {
			near(t, "begin", float64(s.From), float64(want[i-1]), 1)
		}
	}
}

// The pole has one day in the year, with one dawn and one dusk of about a fortnight.
func TestYearAtThePole(t *testing.T) {
	t.Parallel()
	got := spans(t, at(t, 90, 0), utc(2024, 1, 1, 0, 0, 0), utc(2024, 12, 31, 0, 0, 0))
	var kinds []sun.Kind
	for _, s := range got {
		kinds = append(kinds, s.Kind)
	}
	if !slices.Equal(kinds, []sun.Kind{sun.Dark, sun.CivilTwilight, sun.Daylight, sun.CivilTwilight, sun.Dark}) {
		t.Fatalf("%+v", got)
	}
	near(t, "dawn in days", float64(got[1].To-got[1].From)/float64(aDay), 13, 1)
	near(t, "day in days", float64(got[2].To-got[2].From)/float64(aDay), 190, 1) // 186.4 from equinox to equinox and 1.9 of twilight at each end
}

func TestLightAtTheLimits(t *testing.T) {
	t.Parallel()
	p := at(t, 0, 0)
	d := dayAt(t, p, utc(2025, 3, 20, 0, 0, 0))
	set, _ := d.Set.At()
	dusk, _ := d.CivilDusk.At()
	for when, want := range map[sun.Instant]sun.Kind{
		d.Noon: sun.Daylight, set - 2: sun.Daylight, set + 2: sun.CivilTwilight,
		dusk - 2: sun.CivilTwilight, dusk + 2: sun.Dark, d.Noon + 12*hour: sun.Dark,
	} {
		if got := light(t, p, when); got != want {
			t.Errorf("%d: %q, want %q", when, got, want)
		}
	}
}
