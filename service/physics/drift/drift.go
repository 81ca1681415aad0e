// Package drift computes where a drifting vessel will be, how far she may be from there, and whether a shore or
// a hazard is in her way. Many particles, each a vessel with errors of its own, are carried over the forecast:
// forecast errors of wind and current are correlated in time, her drag differs from particle to particle.
//
// The speed through the water is given, by the balance of forces on a canopy or by a leeway class. The waves'
// and the wind's share of the surface current are not computed here: whoever calls adds them to the current
// or says that the current contains them. Times are hours from the start; directions are toward, from true north.
package drift

import (
	"math"

	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
)

// The limits of a case.
const (
	MinParticles = 2000  // 5 % of them are 100, known to a tenth
	MaxParticles = 50000 // memory: 16 bytes for each and each hour
	MaxHours     = 240.0 // no wind forecast says anything beyond
	MaxWayM      = 2e6   // through the water and with it; the errors of the plane grow fast beyond half of it
	MaxLatitude  = 88.0  // deg, of the start: close to a pole, directions from true north mean little
	Modes        = 4     // ways of lying a case can tell apart
)

// Span is a time of steady drift. The zero value is none, as it has no duration.
type Span struct {
	Hours float64 // how long, above 0; a span begins where the one before it ends

	Toward quantity.Angle // her drift through the water, any finite angle; usually straight down the wind

	// SpeedMS is through the water, 0 to 10 m/s, taken as proportional to the wind. Low, Mid and High are taken as
	// its 5, 50 and 95 % points, normal to either side of Mid.
	SpeedMS quantity.Band

	// Divergence is how far she may run off Toward, to either side, 0 to a right angle. Each particle keeps a
	// share of it, equally likely between none and all, and a side, which changes at Spread.SwitchPerH.
	Divergence quantity.Angle

	CurrentEastMS, CurrentNorthMS float64 // of the water she lies in, each -10 to 10 m/s

	// Mode tells ways of lying apart, 0 to Modes-1: under bare poles, to a canopy. Within one Mode a particle is
	// at one place in all bands of SpeedMS; between Modes the places are independent.
	Mode int
}

// Obstacles is what she must not reach: shores and hazards, in the plane about the start of the case.
type Obstacles interface {
	// Crossing returns the first obstacle that the straight line from a to b meets: its number among the
	// caller's, and the share of the way from a to b at which it is met, 0 to 1.
	Crossing(a, b geo.XY) (line int, at float64, ok bool)
}

// Case is a drift to be computed.
type Case struct {
	Start     geo.Point
	Spans     []Span    // in order of time
	Spread    Spread    // DefaultSpread, or the zero value for no errors but those of the speed's band
	Obstacles Obstacles // nil: open ocean
	Particles int       // MinParticles to MaxParticles
	AtH       []float64 // instants at which positions are kept, beside every full hour and the end
	Seed      uint64    // same case, same bits
}

// hours returns the length of the spans.
func hours(spans []Span) float64 {
	sum := 0.0
	for _, s := range spans {
		sum += s.Hours
	}
	return sum
}

func (c Case) check() error {
	if err := quantity.Within("latitude of the start", c.Start.LatitudeDeg(), -MaxLatitude, MaxLatitude, "deg"); err != nil {
		return err
	}
	if err := quantity.Within("particles", float64(c.Particles), MinParticles, MaxParticles, ""); err != nil {
		return err
	}
	if err := checkSpans(c.Spans); err != nil {
		return err
	}
	end := hours(c.Spans)
	for _, at := range c.AtH {
		if err := quantity.Within("instant to keep", at, 0, end, "h"); err != nil {
			return err
		}
	}
	return c.Spread.check()
}

func checkSpans(spans []Span) error {
	way := 0.0
	for _, s := range spans {
		if err := s.check(); err != nil {
			return err
		}
		way += (s.SpeedMS.High + math.Hypot(s.CurrentEastMS, s.CurrentNorthMS)) * s.Hours * secondsPerHour
	}
	if err := quantity.Within("hours of the forecast", hours(spans), 0.01, MaxHours, "h"); err != nil {
		return err
	}
	return quantity.Within("way of the drift", way, 0, MaxWayM, "m")
}

func (s Span) check() error {
	for _, c := range []struct {
		name        string
		v, min, max float64
		unit        string
	}{
		{"hours of a span", s.Hours, math.SmallestNonzeroFloat64, MaxHours, "h"},
		{"direction of the drift", s.Toward.Degrees(), -math.MaxFloat64, math.MaxFloat64, "deg"},
		{"low speed of the drift", s.SpeedMS.Low, 0, s.SpeedMS.Mid, "m/s"},
		{"speed of the drift", s.SpeedMS.Mid, s.SpeedMS.Low, s.SpeedMS.High, "m/s"},
		{"high speed of the drift", s.SpeedMS.High, s.SpeedMS.Mid, 10, "m/s"},
		{"divergence", s.Divergence.Degrees(), 0, 90, "deg"},
		{"current toward east", s.CurrentEastMS, -10, 10, "m/s"},
		{"current toward north", s.CurrentNorthMS, -10, 10, "m/s"},
		{"mode", float64(s.Mode), 0, Modes - 1, ""},
	} {
		if err := quantity.Within(c.name, c.v, c.min, c.max, c.unit); err != nil {
			return err
		}
	}
	return nil
}
