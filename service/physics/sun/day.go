package sun

import (
	"math"

	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
)

// Passage tells whether the sun passes an altitude in half a day, or where it stays.
type Passage string

// The passages. The zero value is none of them.
const (
	Crosses    Passage = "crosses"
	StaysAbove Passage = "stays_above"
	StaysBelow Passage = "stays_below"
)

// Event is a rising, setting, dawn or dusk that may not happen. The zero value is none that happened.
type Event struct {
	Passage Passage
	at      Instant
}

// At gives the instant; ok is false, and the instant none, unless Passage is Crosses.
func (e Event) At() (at Instant, ok bool) { return e.at, e.Passage == Crosses }

// Day is the light of a day at a place, from one lower culmination of the sun to the next, with the upper one, Noon,
// between. Of each pair of events the first lies in the half before noon and the second in the half after it, so far
// from Greenwich one of them may bear the date before or after. Dawn ends the dark and Dusk begins it.
type Day struct {
	Noon                       Instant
	NoonAltitude               quantity.Angle // as Position has it
	Rise, Set                  Event          // upper limb at the horizon
	CivilDawn, CivilDusk       Event          // 6 degrees below
	NauticalDawn, NauticalDusk Event          // 12 degrees below
}

// DayAt gives the day at a point whose mean noon falls on the UTC date of an instant: 12:00 UTC less four minutes for
// each degree of longitude east. So every place has one day for each date, and none is missed or met twice.
//
// Error: within 10 s of other ephemerides below latitude 66. Where the sun only grazes an altitude, as it does near
// the polar circles, as long as 0.01 degrees take: half a minute there as a rule, more on the last days before a
// polar day or night, of which one may be counted to it. Within a degree of the poles a half day may hold more than
// one crossing; the one nearest noon is given.
func DayAt(p geo.Point, date Instant) (Day, error) {
	if err := check(p, date); err != nil {
		return Day{}, err
	}
	halfDays := 2*math.Floor(float64(date)/daySeconds) + 1
	noon := culmination(p, halfDays)
	d := dayTrack{newTrack(p, culmination(p, halfDays-1), culmination(p, halfDays+1)), noon, over(p, noon).Altitude}
	return Day{
		Noon: whole(noon), NoonAltitude: d.noonAltitude,
		Rise: d.morning(horizonDeg), Set: d.afternoon(horizonDeg),
		CivilDawn: d.morning(civilDeg), CivilDusk: d.afternoon(civilDeg),
		NauticalDawn: d.morning(nauticalDeg), NauticalDusk: d.afternoon(nauticalDeg),
	}, nil
}

// dayTrack is the sun's way from one lower culmination to the next.
type dayTrack struct {
	track
	noonS        float64
	noonAltitude quantity.Angle
}

func (d dayTrack) morning(levelDeg float64) Event {
	all := d.crossings(levelDeg)
	for i := len(all) - 1; i >= 0; i-- {
		if c := all[i]; c.unixS <= d.noonS && c.upward {
			return Event{Crosses, whole(c.unixS)}
		}
	}
	return d.stays(levelDeg)
}

func (d dayTrack) afternoon(levelDeg float64) Event {
	for _, c := range d.crossings(levelDeg) {
		if c.unixS > d.noonS && !c.upward {
			return Event{Crosses, whole(c.unixS)}
		}
	}
	return d.stays(levelDeg)
}

func (d dayTrack) stays(levelDeg float64) Event {
	if d.noonAltitude >= quantity.Degrees(levelDeg) {
		return Event{Passage: StaysAbove}
	}
	return Event{Passage: StaysBelow}
}

func whole(unixS float64) Instant { return Instant(math.Round(unixS)) }
