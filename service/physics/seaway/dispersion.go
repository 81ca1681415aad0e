package seaway

import (
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// The ranges linear theory is evaluated on. They are wider than any sea; beyond them the
// arithmetic, not the theory, would give out.
const (
	minOmegaRadS, maxOmegaRadS = 1e-5, 1e3
	minPeriodS, maxPeriodS     = 0.01, 1e5
	minDepthM                  = 1e-3
	minLengthM, maxLengthM     = 1e-3, 1e7
	newtonSteps                = 4 // the seed is good to 1 %, each step squares the error
)

var inf = math.Inf(1)

// Wavenumber returns the wavenumber k in rad/m of a linear wave, the root of
//
//	omega^2 = g k tanh(k h)
//
// for omega in rad/s, 1e-5 to 1e3, and water depth h in m, 1e-3 and up; +Inf is deep water. The
// relative residual of the equation is below 1e-12 in every depth. No current, no surface tension.
//
// Source: Airy, as in CEM EM 1110-2-1100 eq. II-1-8; seed from Guo (2002), Simple and explicit
// solution of wave dispersion equation, Coastal Engineering 45 (from memory, within 1 %), then
// Newton's method.
func Wavenumber(omegaRadS, depthM float64) (float64, error) {
	if err := quantity.Within("wave frequency", omegaRadS, minOmegaRadS, maxOmegaRadS, "rad/s"); err != nil {
		return 0, err
	}
	if err := quantity.Within("water depth", depthM, minDepthM, inf, "m"); err != nil {
		return 0, err
	}
	w, h := omegaRadS, depthM
	k0 := w * w / constant.G // deep water
	y := k0 * h
	if y > 20 { // tanh(20) is 1 in double precision
		return k0, nil
	}
	x := y / math.Pow(-math.Expm1(-math.Pow(y, 1.25)), 0.4) // x = k h
	for range newtonSteps {
		t := math.Tanh(x)
		x -= (x*t - y) / (t + x*(1-t*t))
	}
	return x / h, nil
}

// Wavelength returns the length in m of a linear wave of period T in s (0.01 to 1e5) in depth h in
// m (+Inf allowed). Limits as for Wavenumber.
//
// Source: linear theory, CEM EM 1110-2-1100 eq. II-1-10.
func Wavelength(periodS, depthM float64) (float64, error) {
	k, err := wavenumberOf(periodS, depthM)
	if err != nil {
		return 0, err
	}
	return 2 * math.Pi / k, nil
}

// Celerity returns the phase speed in m/s of a linear wave of period T in s (0.01 to 1e5) in depth
// h in m (+Inf allowed). Limits as for Wavenumber.
func Celerity(periodS, depthM float64) (float64, error) {
	length, err := Wavelength(periodS, depthM)
	if err != nil {
		return 0, err
	}
	return length / periodS, nil
}

// CelerityOfLength returns the phase speed in m/s of a linear wave of length L in m (1e-3 to 1e7)
// in depth h in m (+Inf allowed). A real crest close to breaking runs up to a tenth faster.
//
// Source: linear theory, CEM EM 1110-2-1100 eq. II-1-9.
func CelerityOfLength(lengthM, depthM float64) (float64, error) {
	if err := quantity.Within("wave length", lengthM, minLengthM, maxLengthM, "m"); err != nil {
		return 0, err
	}
	if err := quantity.Within("water depth", depthM, minDepthM, inf, "m"); err != nil {
		return 0, err
	}
	k := 2 * math.Pi / lengthM
	return math.Sqrt(constant.G / k * math.Tanh(k*depthM)), nil
}

// GroupRatio returns n = Cg/C, the group speed over the phase speed, of a linear wave of period T
// in s (0.01 to 1e5) in depth h in m (+Inf allowed): 1/2 in deep water, towards 1 in shallow.
//
// Source: linear theory, CEM EM 1110-2-1100 eq. II-1-49.
func GroupRatio(periodS, depthM float64) (float64, error) {
	k, err := wavenumberOf(periodS, depthM)
	if err != nil {
		return 0, err
	}
	x := 2 * k * depthM
	if x > 700 { // sinh would overflow; the second term is long gone
		return 0.5, nil
	}
	return 0.5 * (1 + x/math.Sinh(x)), nil
}

// OrbitalSpeed returns the amplitude in m/s of the horizontal particle speed under a linear wave of
// height H in m (crest to trough, 0 to 50) and period T in s (0.01 to 1e5) in depth h in m (+Inf
// allowed), z metres below the still water level (0 to h). Linear theory is too low in a steep crest.
//
// Source: linear theory, CEM EM 1110-2-1100 eq. II-1-22, at the phase of the crest.
func OrbitalSpeed(heightM, periodS, depthM, belowM float64) (float64, error) {
	if err := quantity.Within("wave height", heightM, 0, maxHeightM, "m"); err != nil {
		return 0, err
	}
	k, err := wavenumberOf(periodS, depthM)
	if err != nil {
		return 0, err
	}
	if err := quantity.Within("depth of the point", belowM, 0, depthM, "m"); err != nil {
		return 0, err
	}
	H, T, h, z := heightM, periodS, depthM, belowM
	// cosh k(h-z) / sinh kh, with the growing exponentials divided out
	return math.Pi * H / T * math.Exp(-k*z) * (1 + math.Exp(-2*k*(h-z))) / -math.Expm1(-2*k*h), nil
}

// Decay returns the horizontal particle speed z metres below the surface (0 to h) as a fraction of
// that at the surface, for a linear wave of omega in rad/s (1e-5 to 1e3) in depth h in m (+Inf
// allowed): exp(-k z) in deep water.
//
// Source: linear theory, cosh k(h-z) / cosh kh.
func Decay(omegaRadS, depthM, belowM float64) (float64, error) {
	k, err := Wavenumber(omegaRadS, depthM)
	if err != nil {
		return 0, err
	}
	if err := quantity.Within("depth of the point", belowM, 0, depthM, "m"); err != nil {
		return 0, err
	}
	h, z := depthM, belowM
	if math.IsInf(z, 1) { // the bottom of an endless depth
		return 0, nil
	}
	return math.Exp(-k*z) * (1 + math.Exp(-2*k*(h-z))) / (1 + math.Exp(-2*k*h)), nil
}

func wavenumberOf(periodS, depthM float64) (float64, error) {
	if err := quantity.Within("wave period", periodS, minPeriodS, maxPeriodS, "s"); err != nil {
		return 0, err
	}
	return Wavenumber(2*math.Pi/periodS, depthM)
}
