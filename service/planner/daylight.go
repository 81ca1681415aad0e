package planner

import (
	"time"

	"rideout/service/physics/geo"
	"rideout/service/physics/sun"
)

// lightUnknown is said of a time when no position is given.
const lightUnknown = "unknown"

// daylight is the light over a stretch of time; nil stretches: not known.
type daylight struct{ spans []sun.Span }

// daylightOver works out the light at a position from one time to another.
func daylightOver(p *Position, from, until time.Time) (daylight, error) {
	if p == nil {
		return daylight{}, nil
	}
	at, err := geo.At(p.LatitudeDeg, p.LongitudeDeg)
	if err != nil {
		return daylight{}, err
	}
	spans, err := sun.Spans(at, sun.Instant(from.Unix()), sun.Instant(until.Unix()+1))
	return daylight{spans}, err
}

func (d daylight) known() bool { return len(d.spans) > 0 }

// over is the light from one time to another in the contract's words: mixed where it changes.
func (d daylight) over(from, until time.Time) string {
	kind := ""
	a, b := sun.Instant(from.Unix()), sun.Instant(until.Unix())
	for _, s := range d.spans {
		if s.To <= a || s.From > b || s.From == b && a < b {
			continue
		}
		if kind != "" && kind != string(s.Kind) {
			return "mixed"
		}
		kind = string(s.Kind)
	}
	if kind == "" {
		return lightUnknown
	}
	return kind
}

// lastLit is the last stretch of daylight between two times that is long enough, cut to its last part of that length; failing
// that of daylight and civil twilight together.
func (d daylight) lastLit(from, until time.Time, length time.Duration) (Span, bool) {
	for _, kinds := range [][]sun.Kind{{sun.Daylight}, {sun.Daylight, sun.CivilTwilight}} {
		lit := d.stretches(kinds)
		for i := len(lit) - 1; i >= 0; i-- {
			begin, end := later(from, lit[i].From), earlier(until, lit[i].Until)
			if end.Sub(begin) >= length {
				return Span{end.Add(-length), end}, true
			}
		}
	}
	return Span{}, false
}

// firstDay is the first stretch of daylight between two times that is long enough.
func (d daylight) firstDay(from, until time.Time, length time.Duration) (Span, bool) {
	for _, s := range d.stretches([]sun.Kind{sun.Daylight}) {
		begin, end := later(from, s.From), earlier(until, s.Until)
		if end.Sub(begin) >= length {
			return Span{begin, end}, true
		}
	}
	return Span{}, false
}

// stretches joins neighbours of the kinds named.
func (d daylight) stretches(kinds []sun.Kind) []Span {
	var lit []Span
	for _, s := range d.spans {
		wanted := false
		for _, k := range kinds {
			wanted = wanted || s.Kind == k
		}
		if !wanted {
			continue
		}
		from, to := ceilTime(s.From), time.Unix(int64(s.To), 0).UTC().Truncate(time.Minute)
		if n := len(lit); n > 0 && !from.After(lit[n-1].Until.Add(time.Minute)) {
			lit[n-1].Until = to
			continue
		}
		lit = append(lit, Span{from, to})
	}
	return lit
}

// ceilTime is the first whole minute at or after an instant: light is not counted on before it is there.
func ceilTime(t sun.Instant) time.Time {
	at := time.Unix(int64(t), 0).UTC()
	if m := at.Truncate(time.Minute); m.Before(at) {
		return m.Add(time.Minute)
	}
	return at
}
