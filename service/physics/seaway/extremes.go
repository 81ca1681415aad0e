package seaway

import (
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// Heights is a distribution of the heights of single waves in a steady sea. The zero value is Rayleigh.
type Heights int

const (
	// Rayleigh holds for a narrow spectrum and is some 10 % high in the tail of real seas.
	// Source: Longuet-Higgins (1952), On the statistical distribution of the heights of sea waves.
	Rayleigh Heights = iota
	// Forristall was fitted to hurricane seas.
	// Source: Forristall (1978), On the statistical distribution of wave heights in a storm,
	// J. Geophys. Res. 83 (constants from memory).
	Forristall
)

// weibull gives a and b of the exceedance exp(-(h/sqrt m0)^a / b).
func (d Heights) weibull() (a, b float64) {
	if d == Forristall {
		return 2.126, 8.42
	}
	return 2, 8
}

// Exceedance returns the probability that a wave is higher than h in m (0 and up) in a sea of
// significant height Hs in m (0 to 25; in a calm nothing is).
func (d Heights) Exceedance(heightM, hsM float64) (float64, error) {
	if err := quantity.Within("wave height", heightM, 0, inf, "m"); err != nil {
		return 0, err
	}
	if err := quantity.Within("significant wave height", hsM, 0, maxSignificantM, "m"); err != nil {
		return 0, err
	}
	if hsM == 0 {
		return 0, nil
	}
	return d.exceedance(heightM, hsM), nil
}

func (d Heights) exceedance(heightM, hsM float64) float64 {
	a, b := d.weibull()
	return math.Exp(-math.Pow(heightM/(hsM/4), a) / b)
}

// MostProbableMaximum returns the most probable highest of a number of waves (1 and up) in m, the
// height one of them exceeds on average, in a sea of significant height Hs in m (0 to 25). About two
// seas in three bring a higher one.
func (d Heights) MostProbableMaximum(hsM, waves float64) (float64, error) {
	if err := checkMaximum(hsM, waves); err != nil {
		return 0, err
	}
	return d.exceededBy(1/waves, hsM), nil
}

// MaximumNotExceeded returns the height in m the highest of a number of waves (1 and up) stays below
// with the given probability (0 to 1, neither included), heights taken for independent. Hs as for
// MostProbableMaximum.
func (d Heights) MaximumNotExceeded(hsM, waves, probability float64) (float64, error) {
	if err := checkMaximum(hsM, waves); err != nil {
		return 0, err
	}
	if err := quantity.Within("probability", probability, 1e-12, 1-1e-12, ""); err != nil {
		return 0, err
	}
	return d.exceededBy(-math.Expm1(math.Log(probability)/waves), hsM), nil
}

// exceededBy is the height exceeded by the share q of the waves.
func (d Heights) exceededBy(q, hsM float64) float64 {
	a, b := d.weibull()
	return hsM / 4 * math.Pow(-b*math.Log(q), 1/a)
}

func checkMaximum(hsM, waves float64) error {
	if err := quantity.Within("significant wave height", hsM, 0, maxSignificantM, "m"); err != nil {
		return err
	}
	return quantity.Within("number of waves", waves, 1, 1e9, "waves")
}

// Steepness returns H/L of a wave of height H in m (0 to 50) and period T in s (0.01 to 1e5) in deep
// water; with Hs and Tz, or Hs and Tp, it is the steepness of a sea.
//
// Source: linear theory, 2 pi H / (g T^2).
func Steepness(heightM, periodS float64) (float64, error) {
	if err := quantity.Within("wave height", heightM, 0, maxHeightM, "m"); err != nil {
		return 0, err
	}
	length, err := Wavelength(periodS, inf)
	if err != nil {
		return 0, err
	}
	return heightM / length, nil
}

// SteepestSea returns the largest steepness 2 pi Hs/(g Tp^2) a whole sea is known to keep, for a peak
// period in s (0.5 to 40): 1/15 up to 8 s, 1/25 from 15 s, straight between. A forecast far above it
// is a slip of the pen.
//
// Source: DNV-RP-C205 (2010), sec. 3.5.4, from memory.
func SteepestSea(tpS float64) (float64, error) {
	if err := quantity.Within("peak period", tpS, minPeakS, maxPeakS, "s"); err != nil {
		return 0, err
	}
	part := math.Min(1, math.Max(0, (tpS-8)/(15-8)))
	return (1-part)/15 + part/25, nil
}

const (
	micheSteepness = 0.142 // Miche (1944), Mouvements ondulatoires de la mer; from memory, about 1/7
	breakerIndex   = 0.78  // McCowan (1894), On the highest wave of permanent type; CEM eq. II-4-3
)

// MicheHeight returns the greatest height in m a regular wave of length L in m (1e-3 to 1e7) can have
// in depth h in m (+Inf allowed) without breaking: 0.142 L tanh(k h).
//
// Source: Miche (1944), from memory.
func MicheHeight(lengthM, depthM float64) (float64, error) {
	if err := quantity.Within("wave length", lengthM, minLengthM, maxLengthM, "m"); err != nil {
		return 0, err
	}
	if err := quantity.Within("water depth", depthM, minDepthM, inf, "m"); err != nil {
		return 0, err
	}
	return micheSteepness * lengthM * math.Tanh(2*math.Pi/lengthM*depthM), nil
}

// DepthLimitedHeight returns the greatest height in m of a single wave of period T in s (0.01 to 1e5)
// in depth h in m (+Inf allowed): the smaller of Miche's limit and 0.78 h. A forecast whose
// significant height comes near it describes surf, where no sea anchor plan holds.
//
// Source: Miche (1944) and McCowan (1894), as in CEM EM 1110-2-1100 part II-4.
func DepthLimitedHeight(periodS, depthM float64) (float64, error) {
	length, err := Wavelength(periodS, depthM)
	if err != nil {
		return 0, err
	}
	miche := micheSteepness * length * math.Tanh(2*math.Pi/length*depthM)
	return math.Min(miche, breakerIndex*depthM), nil
}

// significantFactor turns a height into Longuet-Higgins' R = H / sqrt(8 m0) on Hs = 4 sqrt(m0).
const significantFactor = math.Sqrt2

// deepBreakingPeriod is the period in s below which a deep-water wave of height H in m is steeper
// than Miche's limit.
func deepBreakingPeriod(heightM float64) float64 {
	return math.Sqrt(2 * math.Pi * heightM / (micheSteepness * constant.G))
}
