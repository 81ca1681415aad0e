package geo

import "math"

// Inverse gives the geodesic between two points, which is the shortest line. Where several are equally short it
// gives one of them: between points half the globe apart in longitude the eastward one, between the poles that of
// the first point's longitude. It converges everywhere, near the antipode too.
// Error: below 2e-8 m, that of double precision; azimuths of lines under a metre are as good as the line is long.
//
// Source: Karney (2013), J. Geodesy 87, section 4, with a bracketed iteration in place of its starting guess near the
// antipode.
func Inverse(a, b Point) (Course, error) {
	if err := checkBoth(a, b); err != nil {
		return Course{}, err
	}
	lambda12 := eastOf(b.Longitude, -a.Longitude.Radians()).Radians()
	l := shortest(a.reduced(), b.reduced(), lambda12)
	return Course{l.distanceM, azimuth(l.alpha1.sin, l.alpha1.cos), azimuth(l.alpha2.sin, l.alpha2.cos)}, nil
}

// shortest solves for a start on the southern side that lies at least as far from the equator as the end, and
// an end east of it, and turns the answer about to suit.
func shortest(beta1, beta2 sincos, lambda12 float64) arc {
	if beta1 == beta2 && lambda12 == 0 {
		return arc{alpha1: sincos{0, 1}, alpha2: sincos{0, 1}}
	}
	swapped := math.Abs(beta1.sin) < math.Abs(beta2.sin)
	if swapped {
		beta1, beta2 = beta2, beta1
	}
	north, east := 1.0, 1.0
	if beta1.sin >= 0 {
		north = -1
	}
	if lambda12 < 0 && lambda12 > -math.Pi {
		east = -1
	}
	beta1.sin *= north
	beta2.sin *= north
	l := eastward(beta1, beta2, math.Abs(lambda12))
	if swapped { // walked from its other end
		north = -north
		l.alpha1, l.alpha2 = l.alpha2, l.alpha1
	}
	l.alpha1 = sincos{east * l.alpha1.sin, north * l.alpha1.cos}
	l.alpha2 = sincos{east * l.alpha2.sin, north * l.alpha2.cos}
	return l
}

// arc is a geodesic between two points with its azimuths.
type arc struct {
	distanceM      float64
	alpha1, alpha2 sincos
}

func eastward(beta1, beta2 sincos, lambda12 float64) arc {
	const pole = 1e-15 // cosine of a latitude that is the pole's
	if lambda12 == 0 || lambda12 == math.Pi || beta1.cos < pole {
		if a, ok := alongMeridian(beta1, beta2, lambda12); ok {
			return a
		}
	}
	if beta1.sin == 0 && lambda12 <= (1-Flattening)*math.Pi {
		return arc{EquatorialRadiusM * lambda12, sincos{1, 0}, sincos{1, 0}}
	}
	guess, short := startingArc(beta1, beta2, lambda12)
	if short {
		return guess
	}
	return iterate(beta1, beta2, lambda12, math.Atan2(guess.alpha1.sin, guess.alpha1.cos))
}

// alongMeridian answers ok unless the meridian runs past the point where another line becomes shorter.
func alongMeridian(beta1, beta2 sincos, lambda12 float64) (arc, bool) {
	sin, cos := math.Sincos(lambda12)
	t := trialThrough(beta1, beta2, sincos{sin, cos}, sincos{0, 1})
	return t.arc(), t.sigma12 < 1 || t.reduced >= 0
}

// startingArc solves the triangle on a sphere, of the mean latitude's radii if the line is short. Below 0.2 m that
// is the answer (Karney, section 4, eq. 48-51).
func startingArc(beta1, beta2 sincos, lambda12 float64) (arc, bool) {
	const shortestArc = 3e-8
	sin12, cos12 := beta2.sin*beta1.cos-beta2.cos*beta1.sin, beta2.cos*beta1.cos+beta2.sin*beta1.sin
	short := cos12 >= 0 && sin12 < 0.5 && beta2.cos*lambda12 < 0.5
	radii, omega12 := 1.0, lambda12
	if short {
		mean := unit(beta1.sin+beta2.sin, beta1.cos+beta2.cos)
		radii = math.Sqrt(1 + secondEcc2*mean.sin*mean.sin)
		omega12 = min(lambda12/((1-Flattening)*radii), math.Pi)
	}
	sinHalf, cosHalf := math.Sincos(omega12 / 2)
	sinOmega, versine := 2*sinHalf*cosHalf, 2*sinHalf*sinHalf // exact where omega12 is small, as 1 - cosine is not
	alpha1 := sincos{beta2.cos * sinOmega, sin12 + beta2.cos*beta1.sin*versine}
	alpha2 := sincos{beta1.cos * sinOmega, sin12 - beta1.cos*beta2.sin*versine}
	sigma12 := math.Sqrt(alpha1.sin*alpha1.sin + alpha1.cos*alpha1.cos) // its sine, the same while it is short
	return arc{polarRadiusM * radii * sigma12, unit(alpha1.sin, alpha1.cos), unit(alpha2.sin, alpha2.cos)}, short && sigma12 < shortestArc
}

// iterate finds the azimuth at 1 whose line reaches the latitude of 2 at its longitude. That longitude rises with the
// azimuth where they meet, so a bracket is kept; Newton's step (Karney, eq. 46) is taken inside it, else half the
// bracket.
func iterate(beta1, beta2 sincos, lambda12, alpha1 float64) arc {
	const steps = 100 // halving alone takes 55
	low, high := 0.0, math.Pi
	var t trial
	for range steps {
		t = newTrial(beta1, beta2, alpha1)
		off := t.lambda12 - lambda12
		step := -off / t.slope(beta1, beta2)
		if off > 0 {
			high = alpha1
		} else {
			low = alpha1
		}
		next := alpha1 + step
		if !(next >= low && next <= high) {
			next = (low + high) / 2
		} else if math.Abs(step) < 1e-8 && math.Abs(step*off) < 1e-16 {
			return t.corrected(beta1, beta2, step, off)
		}
		if next == low || next == high {
			break
		}
		alpha1 = next
	}
	return t.arc()
}
