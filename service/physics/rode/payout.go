package rode

import (
	"fmt"
	"math"

	"rideout/service/physics/quantity"
)

// Weather is the trade's coarse word for how much it blows.
type Weather string

// The three words of the pay-out rule.
const (
	Calm  Weather = "calm"
	Gale  Weather = "gale"
	Storm Weather = "storm"
)

// CustomaryPayOutM gives the rode in m the trade pays out: a boat length in calm, a third of the
// rode carried in a gale, half of it in a storm; never more than is carried. Lengths in m: overall
// 3 to 60, carried 1 to 2000. Common practice of the trade, no source: to set beside
// a computed length, never to fail on.
func CustomaryPayOutM(weather Weather, loaM, carriedM float64) (float64, error) {
	if err := quantity.Within("length overall", loaM, 3, 60, "m"); err != nil {
		return 0, err
	}
	if err := quantity.Within("rode carried", carriedM, 1, 2000, "m"); err != nil {
		return 0, err
	}
	switch weather {
	case Calm:
		return math.Min(loaM, carriedM), nil
	case Gale:
		return carriedM / 3, nil
	case Storm:
		return carriedM / 2, nil
	}
	return 0, fmt.Errorf("no pay-out rule for weather %q", string(weather))
}

// CustomaryLengthM gives the rode in m the trade gives a boat of a length overall in m (3 to 60):
// about 90 m to the small, 180 m to the larger. Where small ends is not said; 10 m is our reading.
// Common practice of the trade, no source, as above.
func CustomaryLengthM(loaM float64) (float64, error) {
	const smallUpToM = 10.0
	if err := quantity.Within("length overall", loaM, 3, 60, "m"); err != nil {
		return 0, err
	}
	if loaM <= smallUpToM {
		return 90, nil
	}
	return 180, nil
}
