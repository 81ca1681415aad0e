package seaway

import (
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// StokesDrift returns the mean drift in m/s, in the direction the waves run, of water z metres below the
// surface (0 and up) in a deep-water sea. All waves are taken to run one way: with the usual spreading of
// directions the drift is 10 to 20 % less. At the surface the tail of the spectrum adds much: cut as
// the spectrum is cut.
//
// Source: Kenyon (1969), Stokes drift for random gravity waves, J. Geophys. Res. 74:
// 2/g integral of omega^3 S exp(-2 omega^2 z/g).
func StokesDrift(s Spectrum, belowM float64) (float64, error) {
	if err := quantity.Within("depth of the point", belowM, 0, inf, "m"); err != nil {
		return 0, err
	}
	return 2 / constant.G * s.Integrate(func(w, density float64) float64 {
		return w * w * w * density * math.Exp(-2*w*w/constant.G*belowM)
	}), nil
}

// StokesDriftRegular returns the same for a regular deep-water wave of height H in m (0 to 50) and
// period T in s (0.01 to 1e5): (k a)^2 C exp(-2 k z), a half the height.
//
// Source: Stokes (1847), On the theory of oscillatory waves; CEM EM 1110-2-1100 eq. II-1-107 in deep water.
func StokesDriftRegular(heightM, periodS, belowM float64) (float64, error) {
	if err := quantity.Within("wave height", heightM, 0, maxHeightM, "m"); err != nil {
		return 0, err
	}
	if err := quantity.Within("depth of the point", belowM, 0, inf, "m"); err != nil {
		return 0, err
	}
	k, err := wavenumberOf(periodS, inf)
	if err != nil {
		return 0, err
	}
	a, C := heightM/2, 2*math.Pi/(k*periodS)
	return k * a * k * a * C * math.Exp(-2*k*belowM), nil
}
