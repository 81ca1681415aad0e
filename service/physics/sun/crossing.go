package sun

import (
	"math"
	"slices"

	"rideout/service/physics/geo"
	"rideout/service/physics/numeric"
	"rideout/service/physics/quantity"
)

// Altitudes of the sun's centre at which the light changes. Rising and setting are of the upper limb: 34' of
// refraction and 16' of semidiameter, the almanacs' convention.
//
// Source: Meeus (1998), Astronomical Algorithms, chapter 15; the twilights are the Nautical Almanac's.
const (
	horizonDeg  = -50. / 60
	civilDeg    = -6
	nauticalDeg = -12
)

const halfDayS = daySeconds / 2

// culmination gives when the sun crosses the meridian of a place near so many half days, of mean time there, after
// 1970-01-01 00:00: above the pole when they are odd, below when they are even. Error: 1 s.
func culmination(p geo.Point, halfDays float64) float64 {
	t := halfDayS * (halfDays - p.Longitude.Radians()/math.Pi)
	for range 2 { // the hour angle gains up to 30 s a day on the clock
		days := sinceJ2000(t)
		hourAngle := siderealTime(days) + p.Longitude.Radians() - place(days).RightAscension.Radians()
		t -= math.Remainder(hourAngle-math.Pi*(halfDays+1), 2*math.Pi) / math.Pi * halfDayS
	}
	return t
}

// sample is the sun's altitude at an instant.
type sample struct {
	unixS    float64
	altitude quantity.Angle
}

// track is the sun's altitude over a place, in order of time, close enough to find every crossing. Between
// culminations the altitude rises or falls all the way, to 0.0001 degrees below latitude 80; nearer the poles, where
// its turns drift away from them, the hourly steps miss a crossing and its return only where they are less than 0.01
// degrees deep.
type track struct {
	place   geo.Point
	samples []sample
}

func newTrack(p geo.Point, fromS, toS float64) track {
	const step = 3600
	at := []float64{fromS, toS}
	for t := fromS + step; t < toS; t += step {
		at = append(at, t)
	}
	east := p.Longitude.Radians() / math.Pi
	for k := math.Floor(fromS/halfDayS + east); k <= toS/halfDayS+east+1; k++ {
		if t := culmination(p, k); t > fromS && t < toS {
			at = append(at, t)
		}
	}
	slices.Sort(at)
	tr := track{place: p}
	for _, t := range at {
		tr.samples = append(tr.samples, sample{t, over(p, t).Altitude})
	}
	return tr
}

// crossing is an instant at which the sun passes an altitude.
type crossing struct {
	unixS  float64
	upward bool
}

func (tr track) crossings(levelDeg float64) []crossing {
	level := quantity.Degrees(levelDeg)
	var found []crossing
	for i, after := range tr.samples[1:] {
		before := tr.samples[i]
		if upward := after.altitude >= level; upward != (before.altitude >= level) {
			found = append(found, crossing{tr.instant(level, before.unixS, after.unixS), upward})
		}
	}
	return found
}

// instant finds the crossing between two samples on either side.
func (tr track) instant(level quantity.Angle, beforeS, afterS float64) float64 {
	const tolS = 0.1
	at, err := numeric.Root(func(t float64) float64 { return float64(over(tr.place, t).Altitude - level) }, beforeS, afterS, tolS)
	if err != nil {
		return afterS // the altitude at one end is the level's to the last digit
	}
	return at
}
