package geo

import (
	"math"

	"rideout/service/physics/quantity"
)

// Rhumb gives the line of constant course between two points, the shorter way round; from points half the globe apart
// in longitude it goes east. Its initial and final azimuths are the same. A line to or from a pole runs along the
// other point's meridian. Error: below 1e-6 m.
//
// Source: Bowring (1985), "The geometry of the loxodrome on the ellipsoid", from memory: its course by the
// isometric latitude, its length by that of the meridian.
func Rhumb(a, b Point) (Course, error) {
	if err := checkBoth(a, b); err != nil {
		return Course{}, err
	}
	phi1, phi2 := a.Latitude.Radians(), b.Latitude.Radians()
	lambda12 := eastOf(b.Longitude, -a.Longitude.Radians()).Radians()
	if lambda12 == -math.Pi {
		lambda12 = math.Pi
	}
	if atPole(phi1) || atPole(phi2) || lambda12 == 0 {
		north := meridianM(phi2) - meridianM(phi1)
		course := azimuth(0, north)
		return Course{math.Abs(north), course, course}, nil
	}
	radius, psi12 := meanRadius(phi1, phi2)
	course := azimuth(lambda12, psi12)
	return Course{math.Hypot(lambda12, psi12) * radius, course, course}, nil
}

// RhumbDirect follows the line of constant azimuth (any finite angle) from a point for a distance in m (0 to
// 40,100,000). It refuses to go past a pole, and to reach or leave one otherwise than along a meridian: the line
// winds round it without end.
func RhumbDirect(a Point, azimuth quantity.Angle, distanceM float64) (Point, error) {
	if err := checkDirect(a, azimuth, distanceM); err != nil {
		return Point{}, err
	}
	const alongMeridian = 1e-12
	sin, cos := math.Sincos(azimuth.Radians())
	phi1 := a.Latitude.Radians()
	phi2, err := latitudeAt(meridianM(phi1) + distanceM*cos)
	if err != nil {
		return Point{}, err
	}
	if math.Abs(sin) < alongMeridian {
		return Point{quantity.Angle(phi2), a.Longitude}, nil
	}
	if atPole(phi1) || atPole(phi2) {
		off := quantity.Angle(math.Asin(math.Abs(sin))).Degrees()
		return Point{}, &quantity.RangeError{Name: "azimuth off the meridian at a pole", Value: off, Min: 0, Max: 0, Unit: "deg"}
	}
	radius, _ := meanRadius(phi1, phi2)
	return Point{quantity.Angle(phi2), eastOf(a.Longitude, distanceM*sin/radius)}, nil
}

func atPole(phi float64) bool { return math.Abs(phi) > math.Pi/2-1e-15 }

// meanRadius gives the length of meridian for each unit of isometric latitude, in m, between two latitudes, and the
// difference of isometric latitude. At one latitude that is the radius of the parallel. Close together both are
// integrals, so that their quotient keeps its digits (three-point Gauss; relative error below 1e-12).
func meanRadius(phi1, phi2 float64) (float64, float64) {
	apart := phi2 - phi1
	if math.Abs(apart) > 0.02*math.Cos(phi1) {
		psi12 := isometric(phi2) - isometric(phi1)
		return (meridianM(phi2) - meridianM(phi1)) / psi12, psi12
	}
	var length, psi float64
	for _, node := range [...]struct{ at, weight float64 }{{0.5 - math.Sqrt(0.15), 5. / 18}, {0.5, 8. / 18}, {0.5 + math.Sqrt(0.15), 5. / 18}} {
		sin, cos := math.Sincos(phi1 + node.at*apart)
		w2 := 1 - Eccentricity2*sin*sin
		inMeridian := EquatorialRadiusM * (1 - Eccentricity2) / (w2 * math.Sqrt(w2))
		length += node.weight * inMeridian
		psi += node.weight * inMeridian * math.Sqrt(w2) / (EquatorialRadiusM * cos)
	}
	return length / psi, psi * apart
}

// isometric gives the isometric latitude, in which a line of constant course is straight.
func isometric(phi float64) float64 {
	const e2 = Eccentricity2
	e := math.Sqrt(e2)
	return math.Asinh(math.Tan(phi)) - e*math.Atanh(e*math.Sin(phi))
}

// meridianM gives the distance from the equator, in m, north positive: the geodesic of azimuth 0.
func meridianM(phi float64) float64 {
	a1, c1 := distanceSeries(third)
	beta := Point{Latitude: quantity.Angle(phi)}.reduced()
	return polarRadiusM * a1 * (math.Atan2(beta.sin, beta.cos) + c1.sum(beta.sin, beta.cos))
}

// latitudeAt turns meridianM about.
func latitudeAt(northM float64) (float64, error) {
	const aHair = 1e-9 // m, of rounding at the pole itself
	quarter := meridianM(math.Pi / 2)
	if err := quantity.Within("distance from the equator", math.Abs(northM), 0, quarter+aHair, "m"); err != nil {
		return 0, err
	}
	a1, _ := distanceSeries(third)
	back := arcSeries(third)
	mu := northM / (polarRadiusM * a1)
	sin, cos := math.Sincos(mu)
	sinBeta, cosBeta := math.Sincos(mu + back.sum(sin, cos))
	phi := math.Atan2(sinBeta, (1-Flattening)*cosBeta)
	return min(max(phi, -math.Pi/2), math.Pi/2), nil
}
