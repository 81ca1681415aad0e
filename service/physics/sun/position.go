package sun

import (
	"math"

	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
)

// Equatorial is the sun's apparent place among the stars, of the equinox of the date.
type Equatorial struct{ RightAscension, Declination quantity.Angle }

// Place gives the sun's apparent geocentric place. Error: below 0.01 degrees, 0.0033 rms.
//
// Source: Meeus (1998), Astronomical Algorithms, 2nd edition, chapter 25, low accuracy.
func Place(t Instant) (Equatorial, error) {
	if err := t.check(); err != nil {
		return Equatorial{}, err
	}
	return place(sinceJ2000(float64(t))), nil
}

func place(daysJ2000 float64) Equatorial {
	t := (daysJ2000 + deltaTS(daysJ2000)/daySeconds) / 36525 // Julian centuries of uniform time
	l0 := 280.46646 + t*(36000.76983+t*0.0003032)            // mean longitude, deg (25.2)
	m := rad(357.52911 + t*(35999.05029-t*0.0001537))        // mean anomaly (25.3)
	omega := rad(ascendingNode(t))
	centre := (1.914602-t*(0.004817+t*0.000014))*math.Sin(m) +
		(0.019993-t*0.000101)*math.Sin(2*m) + 0.000289*math.Sin(3*m)
	lambda := rad(l0 + centre - 0.00569 - 0.00478*math.Sin(omega)) // apparent longitude, with aberration and nutation
	epsilon := rad(obliquityDeg(t) + 0.00256*math.Cos(omega))      // (25.8)

	sinLambda, cosLambda := math.Sincos(lambda)
	sinEpsilon, cosEpsilon := math.Sincos(epsilon)
	return Equatorial{
		RightAscension: quantity.Angle(math.Atan2(cosEpsilon*sinLambda, cosLambda)).Normalised(), // (25.6)
		Declination:    quantity.Angle(math.Asin(sinEpsilon * sinLambda)),                        // (25.7)
	}
}

// ascendingNode is the longitude of the moon's, in degrees, which rules the nutation.
func ascendingNode(t float64) float64 { return 125.04 - 1934.136*t }

// obliquityDeg is the mean obliquity of the ecliptic (22.2).
func obliquityDeg(t float64) float64 { return 23.4392911 - t*(0.0130042+t*(1.64e-7-t*5.04e-7)) }

// siderealTime is the apparent one at Greenwich (12.4, with the nutation of the low accuracy in right ascension). UTC
// stands for UT1, from which it differs by less than 0.9 s.
func siderealTime(daysJ2000 float64) float64 {
	t := daysJ2000 / 36525
	mean := 280.46061837 + 360.98564736629*daysJ2000 + t*t*(0.000387933-t/38710000)
	nutation := -0.00478 * math.Sin(rad(ascendingNode(t)))
	return rad(mean + nutation*math.Cos(rad(obliquityDeg(t))))
}

// Position is where the sun's centre stands over a place: Altitude above the horizon, in [-pi/2, pi/2], as seen from
// the surface but without refraction; Azimuth clockwise from true north.
type Position struct{ Altitude, Azimuth quantity.Angle }

// At gives the sun's position over a point. Error: below 0.01 degrees of a great circle; near the zenith and at the
// poles an azimuth says little.
func At(p geo.Point, t Instant) (Position, error) {
	if err := check(p, t); err != nil {
		return Position{}, err
	}
	return over(p, float64(t)), nil
}

func check(p geo.Point, t Instant) error {
	if _, err := geo.At(p.LatitudeDeg(), p.LongitudeDeg()); err != nil {
		return err
	}
	return t.check()
}

// parallax is the mean one of the sun at the horizon, 8.794 arc seconds; the orbit changes it by a sixtieth.
const parallax = 8.794 / 3600 * math.Pi / 180

// over turns the equatorial place into a horizontal one (Meeus, eq. 13.5 and 13.6, azimuth from north).
func over(p geo.Point, unixS float64) Position {
	days := sinceJ2000(unixS)
	sun := place(days)
	sinH, cosH := math.Sincos(siderealTime(days) + p.Longitude.Radians() - sun.RightAscension.Radians())
	sinPhi, cosPhi := math.Sincos(p.Latitude.Radians())
	sinDelta, cosDelta := math.Sincos(sun.Declination.Radians())

	north := sinDelta*cosPhi - cosDelta*cosH*sinPhi
	east := -cosDelta * sinH
	up := sinDelta*sinPhi + cosDelta*cosH*cosPhi - parallax
	return Position{
		Altitude: quantity.Angle(math.Atan2(up, math.Hypot(north, east))),
		Azimuth:  quantity.Angle(math.Atan2(east, north)).Normalised(),
	}
}

func rad(deg float64) float64 { return deg * math.Pi / 180 }
