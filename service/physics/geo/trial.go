package geo

import "math"

// trial is the geodesic that leaves latitude 1 at an azimuth, as far as where it crosses latitude 2.
type trial struct {
	line
	alpha1, alpha2 sincos
	sigma2         sincos
	sigma12        float64
	lambda12       float64 // the longitude it gains
	reduced        float64 // reduced length over the polar radius
}

func newTrial(beta1, beta2 sincos, alpha1 float64) trial {
	start := sincos{0, 1}.turned(alpha1)
	t := trialThrough(beta1, beta2, start, clairaut(beta1, beta2, start))
	omega12 := t.omega12(t.sigma2)
	t.lambda12 = math.Atan2(max(0, omega12.sin), omega12.cos) - t.lag(t.sigma12, t.sigma2)
	return t
}

// clairaut gives the azimuth at 2, northward, of a line by its azimuth at 1 (Karney, eq. 45, with the difference of
// squares kept exact).
func clairaut(beta1, beta2, alpha1 sincos) sincos {
	squares := (beta1.sin - beta2.sin) * (beta1.sin + beta2.sin)
	if beta1.cos < -beta1.sin {
		squares = (beta2.cos - beta1.cos) * (beta2.cos + beta1.cos)
	}
	north := alpha1.cos * beta1.cos
	return sincos{alpha1.sin * beta1.cos / beta2.cos, math.Sqrt(max(0, north*north+squares)) / beta2.cos}
}

func trialThrough(beta1, beta2, alpha1, alpha2 sincos) trial {
	t := trial{line: lineThrough(beta1, alpha1.sin, alpha1.cos), alpha1: alpha1, alpha2: alpha2, sigma2: sincos{0, 1}}
	if beta2.sin != 0 || alpha2.cos != 0 {
		t.sigma2 = unit(beta2.sin, alpha2.cos*beta2.cos)
	}
	s1, s2 := t.sigma1, t.sigma2
	t.sigma12 = math.Atan2(max(0, s2.sin*s1.cos-s2.cos*s1.sin), s2.cos*s1.cos+s2.sin*s1.sin)
	t.reduced = t.reducedLength(beta1, beta2)
	return t
}

// reducedLength is Karney's m12/b (eq. 38), to the fourth power of the small k: how far two lines that leave 1 at
// slightly different azimuths lie apart at 2, for each radian. It is negative past the point where they meet again.
func (t *trial) reducedLength(beta1, beta2 sincos) float64 {
	s1, s2 := t.sigma1, t.sigma2
	k2 := t.cosAlpha0 * t.cosAlpha0 * secondEcc2
	// J = integral of k2 sin2/sqrt(1 + k2 sin2)
	half := func(s sincos) float64 { return s.sin * s.cos }
	fourth := func(s sincos) float64 { return s.sin * s.cos * (2*s.sin*s.sin + 3) }
	j := k2 / 2 * (t.sigma12 - half(s2) + half(s1) - k2/8*(3*t.sigma12-fourth(s2)+fourth(s1)))
	return t.stretch(beta2)*s1.cos*s2.sin - t.stretch(beta1)*s1.sin*s2.cos - s1.cos*s2.cos*j
}

func (t *trial) stretch(beta sincos) float64 { return math.Sqrt(1 + secondEcc2*beta.sin*beta.sin) }

// slope is d lambda12/d alpha1 (Karney, eq. 46).
func (t *trial) slope(beta1, beta2 sincos) float64 {
	if t.alpha2.cos == 0 {
		return -2 * (1 - Flattening) * t.stretch(beta1) / beta1.sin
	}
	return t.reduced * (1 - Flattening) / (t.alpha2.cos * beta2.cos)
}

func (t *trial) arc() arc {
	a1, c1 := distanceSeries(t.eps)
	sigma := t.sigma12 + c1.sum(t.sigma2.sin, t.sigma2.cos) - c1.sum(t.sigma1.sin, t.sigma1.cos)
	return arc{polarRadiusM * a1 * sigma, t.alpha1, t.alpha2}
}

// corrected is the line after a last small step in azimuth, with its length by the first variation: moving the end
// along its parallel by d lambda adds a sin alpha0 d lambda. What is left is of the step's second order, under 1e-9
// m.
func (t *trial) corrected(beta1, beta2 sincos, step, off float64) arc {
	alpha1 := t.alpha1.turned(step)
	return arc{t.arc().distanceM - EquatorialRadiusM*t.sinAlpha0*off, alpha1, clairaut(beta1, beta2, alpha1)}
}
