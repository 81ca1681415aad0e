package geo

import "math"

// WGS 84, exact by definition; the square of the first eccentricity follows from the flattening.
// Source: NIMA TR8350.2 (2000), table 3.1.
const (
	EquatorialRadiusM = 6378137.0
	Flattening        = 1 / 298.257223563
	Eccentricity2     = Flattening * (2 - Flattening)
)

const (
	polarRadiusM = EquatorialRadiusM * (1 - Flattening)
	secondEcc2   = Eccentricity2 / ((1 - Flattening) * (1 - Flattening)) // second eccentricity, squared
	third        = Flattening / (2 - Flattening)                         // third flattening, n
)

// The series below are those of Karney (2013), J. Geodesy 87, 43-55, eq. 15-25, coefficients and numbers from memory
// and held to by the checks. They are cut after the fifth power of epsilon, those of the longitude after the fourth;
// epsilon is at most 0.0017, so what is left out is under 1e-9 m.

// expansion gives Karney's epsilon of a geodesic that crosses the equator at azimuth alpha0 (eq. 16).
func expansion(cosAlpha0 float64) float64 {
	k2 := cosAlpha0 * cosAlpha0 * secondEcc2
	return k2 / (2*(1+math.Sqrt(1+k2)) + k2)
}

// harmonics are the coefficients of sin 2x, sin 4x and so on.
type harmonics [5]float64

// sum adds the sine series by Clenshaw's recurrence.
func (h *harmonics) sum(sin, cos float64) float64 {
	x := 2 * (cos - sin) * (cos + sin) // 2 cos 2x
	b4 := h[3] + x*h[4]
	b3 := h[2] + x*b4 - h[4]
	b2 := h[1] + x*b3 - b4
	b1 := h[0] + x*b2 - b3
	return 2 * sin * cos * b1
}

// distanceSeries are A1 (eq. 17) and C1 (eq. 18): s/b = A1 (sigma + sum C1 sin 2l sigma).
func distanceSeries(eps float64) (float64, harmonics) {
	e2 := eps * eps
	a1 := (1 + e2*(1./4+e2/64)) / (1 - eps)
	return a1, harmonics{
		eps * (-1./2 + e2*(3./16-e2/32)),
		e2 * (-1./16 + e2/32),
		eps * e2 * (-1./48 + e2*3/256),
		-e2 * e2 * 5 / 512,
		-eps * e2 * e2 * 7 / 1280,
	}
}

// arcSeries are C1' (eq. 21), which turn the series of the distance about: sigma = tau + sum C1' sin 2l tau.
func arcSeries(eps float64) harmonics {
	e2 := eps * eps
	return harmonics{
		eps * (1./2 + e2*(-9./32+e2*205/1536)),
		e2 * (5./16 - e2*37/96),
		eps * e2 * (29./96 - e2*75/128),
		e2 * e2 * 539 / 1536,
		eps * e2 * e2 * 3467 / 7680,
	}
}

// longitudeSeries are A3 (eq. 24) and C3 (eq. 25): lambda = omega - f sin alpha0 A3 (sigma + sum C3 sin 2l sigma).
func longitudeSeries(eps float64) (float64, harmonics) {
	const n, n2 = third, third * third
	a3 := 1 - eps*((1-n)/2+eps*((2+n-3*n2)/8+eps*((1+3*n+n2)/16+eps*(3+2*n)/64)))
	return a3, harmonics{
		eps * ((1-n)/4 + eps*((1-n2)/8+eps*((3+3*n-n2)/64+eps*(5+2*n)/128))),
		eps * eps * ((2-3*n+n2)/32 + eps*((3-2*n-3*n2)/64+eps*(3+n)/128)),
		eps * eps * eps * ((5-9*n+5*n2)/192 + eps*(9-10*n)/384),
		eps * eps * eps * eps * (7 - 14*n) / 512,
	}
}
