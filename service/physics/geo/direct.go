package geo

import (
	"math"

	"rideout/service/physics/quantity"
)

const longestM = 40_100_000.0 // a little more than once round

// sincos is an angle by its sine and cosine.
type sincos struct{ sin, cos float64 }

// reduced gives the reduced latitude, the one on the auxiliary sphere: tan beta = (1 - f) tan phi.
func (p Point) reduced() sincos {
	sin, cos := math.Sincos(p.Latitude.Radians())
	return unit((1-Flattening)*sin, cos)
}

// turned adds an angle in rad.
func (p sincos) turned(rad float64) sincos {
	sin, cos := math.Sincos(rad)
	return sincos{p.sin*cos + p.cos*sin, p.cos*cos - p.sin*sin}
}

// unit scales a sine and cosine to a sum of squares of one.
func unit(sin, cos float64) sincos {
	r := math.Sqrt(sin*sin + cos*cos)
	return sincos{sin / r, cos / r}
}

// Direct follows the geodesic that leaves a point at an azimuth (any finite angle) for a distance in m (0 to
// 40,100,000). It returns where it ends and its azimuth there. Error: below 2e-8 m, that of the series and of double
// precision. From a pole, azimuths are as seen on the meridian of the point's longitude.
//
// Source: Karney (2013), J. Geodesy 87, section 3.
func Direct(a Point, azimuth quantity.Angle, distanceM float64) (Point, quantity.Angle, error) {
	if err := checkDirect(a, azimuth, distanceM); err != nil {
		return Point{}, 0, err
	}
	b, final := follow(a, a.reduced(), azimuth, distanceM)
	return b, final, nil
}

func checkDirect(a Point, azimuth quantity.Angle, distanceM float64) error {
	if err := a.check(); err != nil {
		return err
	}
	if err := quantity.Within("azimuth", azimuth.Degrees(), -math.MaxFloat64, math.MaxFloat64, "deg"); err != nil {
		return err
	}
	return quantity.Within("distance", distanceM, 0, longestM, "m")
}

// follow solves the triangles of the auxiliary sphere: point 0 is where the line crosses the equator northward,
// 1 the start, 2 the end; alpha is azimuth, sigma arc from 0, omega longitude from 0, tau the scaled distance.
func follow(a Point, beta1 sincos, alpha1 quantity.Angle, distanceM float64) (Point, quantity.Angle) {
	sinAlpha1, cosAlpha1 := math.Sincos(alpha1.Radians())
	l := lineThrough(beta1, sinAlpha1, cosAlpha1)
	a1, c1 := distanceSeries(l.eps)
	c1Back := arcSeries(l.eps)

	past := c1.sum(l.sigma1.sin, l.sigma1.cos) + distanceM/(polarRadiusM*a1) // tau2 - sigma1, eq. 7
	tau2 := l.sigma1.turned(past)
	sigma12 := past + c1Back.sum(tau2.sin, tau2.cos) // eq. 20
	sigma2 := l.sigma1.turned(sigma12)

	// eq. 12-14
	sinBeta2 := l.cosAlpha0 * sigma2.sin
	cosBeta2 := math.Sqrt(l.sinAlpha0*l.sinAlpha0 + l.cosAlpha0*l.cosAlpha0*sigma2.cos*sigma2.cos)
	omega12 := l.omega12(sigma2)
	lambda12 := math.Atan2(omega12.sin, omega12.cos) - l.lag(sigma12, sigma2) // eq. 8

	latitude := math.Atan2(sinBeta2, (1-Flattening)*cosBeta2)
	return Point{quantity.Angle(latitude), eastOf(a.Longitude, lambda12)}, azimuth(l.sinAlpha0, l.cosAlpha0*sigma2.cos)
}

// line is a geodesic from a point 1, with what its equator crossing says of it.
type line struct {
	sinAlpha0, cosAlpha0 float64
	sigma1               sincos
	eps                  float64
}

func lineThrough(beta1 sincos, sinAlpha1, cosAlpha1 float64) line {
	l := line{sinAlpha0: sinAlpha1 * beta1.cos}                                            // eq. 5
	l.cosAlpha0 = math.Sqrt(cosAlpha1*cosAlpha1 + sinAlpha1*sinAlpha1*beta1.sin*beta1.sin) // eq. 10
	l.sigma1 = sincos{0, 1}                                                                // along the equator any point will do for 0
	if beta1.sin != 0 || cosAlpha1 != 0 {
		l.sigma1 = unit(beta1.sin, cosAlpha1*beta1.cos) // eq. 11
	}
	l.eps = expansion(l.cosAlpha0)
	return l
}

// omega12 is the difference of longitude on the sphere (eq. 12), by its sine and cosine, not scaled to one.
func (l *line) omega12(sigma2 sincos) sincos {
	return sincos{
		l.sinAlpha0 * (sigma2.sin*l.sigma1.cos - sigma2.cos*l.sigma1.sin),
		sigma2.cos*l.sigma1.cos + l.sinAlpha0*l.sinAlpha0*sigma2.sin*l.sigma1.sin,
	}
}

// lag is how far the longitude on the ellipsoid falls behind that on the sphere (eq. 8).
func (l *line) lag(sigma12 float64, sigma2 sincos) float64 {
	a3, c3 := longitudeSeries(l.eps)
	return Flattening * l.sinAlpha0 * a3 * (sigma12 + c3.sum(sigma2.sin, sigma2.cos) - c3.sum(l.sigma1.sin, l.sigma1.cos))
}
