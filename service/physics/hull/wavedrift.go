package hull

import (
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
	"rideout/service/physics/seaway"
)

// Reflection says how much of a wave the hull throws back: R2 is the square of the reflection
// coefficient, which runs from 0 in long waves to 1 in very short ones. HalfLengths is the wave
// length, in lengths of the hull's side facing the wave, at which R2 is one half.
//
//	R2 = 1/(1 + (lambda/(HalfLengths l))^4)
//
// The form between the two limits is our own interpolation; the limits are those of a wall and of
// a cork. The zero value reflects nothing.
type Reflection struct{ HalfLengths float64 }

// R2 returns the squared reflection coefficient for a wave of length lambdaM at a facing side lM.
func (r Reflection) R2(lambdaM, lM float64) float64 {
	if r.HalfLengths == 0 {
		return 0
	}
	x := lambdaM / (r.HalfLengths * lM)
	return 1 / (1 + sq(sq(x)))
}

// BowReflection is the wave length at which half the energy is thrown back, in waterline lengths,
// for a hull bow to the sea.
var BowReflection = constant.Coefficient{
	Band:   quantity.Band{Low: 0.5, Mid: 1, High: 2},
	Source: "our interpolation: drift forces in head seas peak where wave and hull are about equally long; no measured curve for yachts found",
}

// BeamReflection is the same for a hull lying beam-on, in beams.
var BeamReflection = constant.Coefficient{
	Band:   quantity.Band{Low: 1.5, Mid: 3, High: 6},
	Source: "our interpolation: a beam-on section of ship form turns most waves back that are shorter than about three beams; no measured curve for yachts found",
}

// WaveDriftN returns the mean force in N with which a sea pushes the hull along its direction of
// travel: F = integral of 2 S(w) C(w) dw, C = 1/2 rho g R2(w) b, with b the breadth in m across
// the waves. facingM is the hull's length along the waves that R2 is taken on. Deep water.
//
// Limits: second-order theory of small waves; breakers are their own load case.
// Source: Maruo (1960) drift of a reflecting body, upper bound R2 = 1 gives rho g b Hs^2/16.
func WaveDriftN(sea seaway.Spectrum, breadthM, facingM float64, r Reflection) float64 {
	return sea.Integrate(func(omega, s float64) float64 {
		lambda := 2 * math.Pi * constant.G / (omega * omega)
		c := 0.5 * constant.RhoWater * constant.G * r.R2(lambda, facingM) * breadthM
		return 2 * s * c
	})
}

// HeadDriftN returns the band of mean wave drift in N for the hull lying bow to the sea.
func (h Hull) HeadDriftN(sea seaway.Spectrum) quantity.Band {
	return driftBand(sea, h.BeamM, h.LWLM, BowReflection.Band)
}

// BeamDriftN returns the band of mean wave drift in N for the hull lying beam-on.
func (h Hull) BeamDriftN(sea seaway.Spectrum) quantity.Band {
	return driftBand(sea, h.LWLM, h.BeamM, BeamReflection.Band)
}

func driftBand(sea seaway.Spectrum, breadthM, facingM float64, half quantity.Band) quantity.Band {
	at := func(lengths float64) float64 {
		return WaveDriftN(sea, breadthM, facingM, Reflection{lengths})
	}
	return quantity.Band{Low: at(half.Low), Mid: at(half.Mid), High: at(half.High)}
}
