// Package wind turns a forecast wind into the wind at a height and over a time, and into the force
// on the part of a vessel above water.
//
// Speeds are in m/s; the wind of a forecast is the 10 min mean at 10 m. Directions of the wind are
// those it comes from. Everything is a pure function of its arguments.
package wind

import (
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// DesignAveragingS is the averaging time of the wind a rode has to hold: long enough for the vessel
// to be pushed back to the end of it, short enough to be more than the mean. Our choice, near the
// practice for small moored vessels.
const DesignAveragingS = 60.0

const (
	minHeightM, maxHeightM       = 0.1, 100.0
	minAveragingS, maxAveragingS = 1.0, 3600.0
	maxSpeedMS                   = 120 * quantity.MetresPerNauticalMile / 3600 // 120 kn
)

// At returns the wind speed in m/s at height z in m (0.1 to 100) as a mean over T in s (1 to 3600),
// the greatest such mean within the 10 min for T below 600, from the 10 min mean at 10 m in m/s (0 to
// 61.7, which is 120 kn). Open sea, neutral air; below some 2 m among high waves no profile is known, and
// the log law is only carried on.
//
// Source: DNV-RP-C205 (2010), eq. 2.3.2.11, from memory:
// U(T,z) = U10 [1 + .137 ln(z/10) - .047 ln(T/600)].
func At(u10MS, heightM, averagingS float64) (float64, error) {
	if err := checkSpeed(u10MS); err != nil {
		return 0, err
	}
	if err := quantity.Within("height", heightM, minHeightM, maxHeightM, "m"); err != nil {
		return 0, err
	}
	if err := quantity.Within("averaging time", averagingS, minAveragingS, maxAveragingS, "s"); err != nil {
		return 0, err
	}
	return at(u10MS, heightM, averagingS), nil
}

func at(u10MS, heightM, averagingS float64) float64 {
	z, T := heightM, averagingS
	return u10MS * (1 + 0.137*math.Log(z/10) - 0.047*math.Log(T/600))
}

// ToHour returns the speed of the mean over T in s (1 to 36 000) over that of the mean over an
// hour. Wave growth wants the hourly wind: divide by it (plans put in the 10 min mean, 5 % more). It knows no height and is a little different
// from the profile's own dependence on T.
//
// Source: CEM EM 1110-2-1100 part II-2, figure II-2-1; the form above an hour as printed in example
// II-2-2, the one below from memory.
func ToHour(averagingS float64) (float64, error) {
	if err := quantity.Within("averaging time", averagingS, minAveragingS, 36_000, "s"); err != nil {
		return 0, err
	}
	t := averagingS
	if t < 3600 {
		return 1.277 + 0.296*math.Tanh(0.9*math.Log10(45/t)), nil
	}
	return 1.5334 - 0.15*math.Log10(t), nil
}

// Pressure returns the dynamic pressure 1/2 rho V^2 in Pa of a wind in m/s (0 to 61.7, that is 120 kn), with
// rho 1.225 kg/m3 (air of 0 C is 5 % heavier).
func Pressure(speedMS float64) (float64, error) {
	if err := checkSpeed(speedMS); err != nil {
		return 0, err
	}
	return pressure(speedMS), nil
}

func pressure(speedMS float64) float64 { return 0.5 * constant.RhoAir * speedMS * speedMS }

func checkSpeed(speedMS float64) error {
	return quantity.Within("wind speed", speedMS, 0, maxSpeedMS, "m/s")
}
