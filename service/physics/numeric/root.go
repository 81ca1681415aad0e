// Package numeric holds the few numerical methods the computation needs and that no library at
// hand gives in the wanted form: a bracketed root and the statistics of largest values.
package numeric

import (
	"fmt"
	"math"

	"rideout/service/physics/quantity"
)

// Root returns an x in [lo, hi] at which f changes sign, to within tol (absolute, in the unit of
// x; at best a few units in the last place). f(lo) and f(hi) must differ in sign or one of them
// be zero; otherwise a *quantity.RangeError tells the value f takes at lo. f must be continuous
// for the result to be a root rather than a jump.
//
// Method: Dekker's bisection-secant as improved by Brent, "Algorithms for Minimization without
// Derivatives" (1973), chapter 4: never slower than bisection by more than a factor.
func Root(f func(float64) float64, lo, hi, tol float64) (float64, error) {
	a, b := lo, hi
	fa, fb := f(a), f(b)
	if fa == 0 {
		return a, nil
	}
	if fb == 0 {
		return b, nil
	}
	if math.IsNaN(fa) || math.IsNaN(fb) || math.Signbit(fa) == math.Signbit(fb) {
		return 0, fmt.Errorf("no sign change between %g and %g: %w", lo, hi,
			&quantity.RangeError{Name: "f(lo)", Value: fa, Min: math.Inf(-1), Max: math.Copysign(0, fb), Unit: ""})
	}
	c, fc := a, fa
	step, before := b-a, b-a
	for range 200 {
		if math.Signbit(fb) == math.Signbit(fc) {
			c, fc = a, fa
			step, before = b-a, b-a
		}
		if math.Abs(fc) < math.Abs(fb) {
			a, b, c = b, c, b
			fa, fb, fc = fb, fc, fb
		}
		small := 2*math.Nextafter(math.Abs(b), math.Inf(1)) - 2*math.Abs(b) + tol/2
		half := (c - b) / 2
		if math.Abs(half) <= small || fb == 0 {
			return b, nil
		}
		step, before = nextStep(a, b, c, fa, fb, fc, half, small, step, before)
		a, fa = b, fb
		if math.Abs(step) > small {
			b += step
		} else {
			b += math.Copysign(small, half)
		}
		fb = f(b)
	}
	return b, nil
}

// nextStep chooses between interpolation and bisection; it returns the step and the one to hold
// the next choice against.
func nextStep(a, b, c, fa, fb, fc, half, small, step, before float64) (float64, float64) {
	if math.Abs(before) < small || math.Abs(fa) <= math.Abs(fb) {
		return half, half
	}
	s := fb / fa
	if a == c { // secant
		return accept(2*half*s, 1-s, half, small, step, before)
	}
	q, r := fa/fc, fb/fc // inverse quadratic
	return accept(s*(2*half*q*(q-r)-(b-a)*(r-1)), (q-1)*(r-1)*(s-1), half, small, step, before)
}

// accept takes the interpolated step p/q when it stays well inside the bracket and shrinks fast
// enough, else bisects.
func accept(p, q, half, small, step, before float64) (float64, float64) {
	if p > 0 {
		q = -q
	}
	p = math.Abs(p)
	if 2*p < math.Min(3*half*q-math.Abs(small*q), math.Abs(before*q)) {
		return p / q, step
	}
	return half, half
}
