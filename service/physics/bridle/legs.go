package bridle

import (
	"fmt"
	"math"

	"rideout/service/physics/quantity"
)

// Leg is a line from a strong point to where it meets the rode.
type Leg struct {
	Point   Point
	LengthM float64
}

// Legs are the two legs the rode is made fast to, fore and aft or, on a multihull, port and starboard.
// Without weight or stretch. While both are taut they meet at one place of the vessel's frame; a rode
// that leads too far to one side leaves one slack and she hangs on the other.
type Legs struct{ Fore, Aft Leg }

// Plain is a rode on one strong point, without a bridle.
func Plain(at Point) Legs { return Legs{Leg{at, 0}, Leg{at, 0}} }

// Check refuses legs without meaning: lengths outside 0 to 1000 m, and legs that do not reach each other.
func (l Legs) Check() error {
	for _, leg := range []Leg{l.Fore, l.Aft} {
		if err := quantity.Within("bridle leg from "+leg.Point.Name, leg.LengthM, 0, 1000, "m"); err != nil {
			return err
		}
		for _, d := range []float64{leg.Point.FromBowM, leg.Point.OffCentreM} {
			if err := quantity.Within("place of "+leg.Point.Name, d, -200, 200, "m"); err != nil {
				return err
			}
		}
	}
	apart := l.Aft.Point.place().minus(l.Fore.Point.place()).length()
	return quantity.Within("length of the legs together", l.Fore.LengthM+l.Aft.LengthM, apart, 2000, "m")
}

// Shares returns the load of each leg over that of the rode, by where the rode leads off the bow. Both
// legs pulling, it is the balance of three forces where they meet; otherwise one leg has all of it.
func (l Legs) Shares(rodeLeads quantity.Angle) (fore, aft float64, err error) {
	if err := l.Check(); err != nil {
		return 0, 0, err
	}
	if err := quantity.Within("lead of the rode off the bow", rodeLeads.Degrees(), -360, 360, "deg"); err != nil {
		return 0, 0, err
	}
	h := l.hold(down(rodeLeads.Radians()).times(-1))
	return h.fore, h.aft, nil
}

// held is how legs hold: a place the rode's line passes through, the share of each leg, and the
// direction of each that is taut.
type held struct {
	at            vec
	fore, aft     float64
	toFore, toAft vec
}

// hold finds what is taut when the rode draws in the direction u. The meeting point goes as far along
// u as both legs let it: to the end of one leg, if the other reaches there too, else to where both are
// at their length.
func (l Legs) hold(u vec) held {
	a, b, la, lb := l.Fore.Point.place(), l.Aft.Point.place(), l.Fore.LengthM, l.Aft.LengthM
	if a.plus(u.times(la)).minus(b).length() <= lb {
		return held{at: a, fore: 1, toFore: u}
	}
	if b.plus(u.times(lb)).minus(a).length() <= la {
		return held{at: b, aft: 1, toAft: u}
	}
	j := l.meeting(u)
	h := held{at: j, toFore: j.minus(a).times(1 / la), toAft: j.minus(b).times(1 / lb)}
	h.fore, h.aft = split(u, h.toFore, h.toAft)
	return h
}

// meeting is where both legs end, on the side toward u.
func (l Legs) meeting(u vec) vec {
	a, la, lb := l.Fore.Point.place(), l.Fore.LengthM, l.Aft.LengthM
	between := l.Aft.Point.place().minus(a)
	d := between.length()
	e := between.times(1 / d)
	along := (la*la - lb*lb + d*d) / (2 * d)
	off := vec{-e.port, e.aft}.times(math.Sqrt(math.Max(0, la*la-along*along)))
	if off.dot(u) < 0 {
		off = off.times(-1)
	}
	return a.plus(e.times(along)).plus(off)
}

// split resolves a unit pull into the directions of two legs.
func split(u, fore, aft vec) (float64, float64) {
	d := fore.cross(aft)
	return u.cross(aft) / d, fore.cross(u) / d
}

// fouls tells whether a taut leg leads across the deck: inboard of the line to the stem and of the one
// straight aft. Points on the centre line are passed over.
func (l Legs) fouls(h held) bool {
	across := func(p, leads vec) bool {
		if p.port < 0 { // mirrored, so that the point is to port
			p.port, leads.port = -p.port, -leads.port
		}
		return p.port > 0 && leads.port < 0 && p.times(-1).cross(leads) > 0
	}
	return across(l.Fore.Point.place(), h.toFore) || across(l.Aft.Point.place(), h.toAft)
}

// String tells the legs for a message.
func (l Legs) String() string {
	return fmt.Sprintf("%.2f m from %s, %.2f m from %s", l.Fore.LengthM, l.Fore.Point.Name, l.Aft.LengthM, l.Aft.Point.Name)
}
