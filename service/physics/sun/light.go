package sun

import (
	"slices"

	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
)

// Kind is how light it is on deck. The zero value is none.
type Kind string

// The kinds of light. Dark begins when civil twilight ends: the horizon can still be made out, work on deck needs
// lamps.
const (
	Daylight      Kind = "day"
	CivilTwilight Kind = "civil_twilight"
	Dark          Kind = "dark"
)

// Light tells how light it is at a point.
func Light(p geo.Point, t Instant) (Kind, error) {
	position, err := At(p, t)
	if err != nil {
		return "", err
	}
	return kindAt(position.Altitude), nil
}

func kindAt(altitude quantity.Angle) Kind {
	switch {
	case altitude >= quantity.Degrees(horizonDeg):
		return Daylight
	case altitude >= quantity.Degrees(civilDeg):
		return CivilTwilight
	}
	return Dark
}

// Span is a stretch of one kind of light, From included and To not.
type Span struct {
	From, To Instant
	Kind     Kind
}

// Spans divides the time between two instants at a point, up to 400 days, into stretches of one kind of light, in
// order and without gaps. Neighbours differ in kind.
func Spans(p geo.Point, from, to Instant) ([]Span, error) {
	if err := check(p, from); err != nil {
		return nil, err
	}
	if err := to.check(); err != nil {
		return nil, err
	}
	if err := quantity.Within("time from the first instant to the last", float64(to-from), 1, 400*daySeconds, "s"); err != nil {
		return nil, err
	}
	return merged(p, ends(p, from, to)), nil
}

// ends gives the instants between which the light is of one kind.
func ends(p geo.Point, from, to Instant) []Instant {
	way := newTrack(p, float64(from), float64(to))
	at := []Instant{from, to}
	for _, c := range slices.Concat(way.crossings(horizonDeg), way.crossings(civilDeg)) {
		at = append(at, whole(c.unixS))
	}
	slices.Sort(at)
	return slices.Compact(at)
}

func merged(p geo.Point, ends []Instant) []Span {
	var spans []Span
	for i, to := range ends[1:] {
		from := ends[i]
		kind := kindAt(over(p, (float64(from)+float64(to))/2).Altitude)
		if n := len(spans); n > 0 && spans[n-1].Kind == kind {
			spans[n-1].To = to
			continue
		}
		spans = append(spans, Span{from, to, kind})
	}
	return spans
}
