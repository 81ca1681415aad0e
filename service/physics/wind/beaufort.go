package wind

import (
	"math"

	"rideout/service/physics/quantity"
)

// Beaufort is a row of the Beaufort scale: whole knots of the 10 min mean at 10 m, and the wave height
// of the open sea far from land after long enough, a probable and a maximum one in m. The last row is
// open: its HighKt and MaximumWaveM are zero.
type Beaufort struct {
	Force         int
	LowKt, HighKt float64
	ProbableWaveM float64
	MaximumWaveM  float64
	Name          string
}

// forces is the Beaufort scale, WMO code 1100; names, and rows 0 to 3 whole, from memory, heights in
// metres from memory against the printed feet.
var forces = [...]Beaufort{
	{0, 0, 0, 0, 0, "calm"},
	{1, 1, 3, 0.1, 0.1, "light air"},
	{2, 4, 6, 0.2, 0.3, "light breeze"},
	{3, 7, 10, 0.6, 1.0, "gentle breeze"},
	{4, 11, 16, 1.0, 1.5, "moderate breeze"},
	{5, 17, 21, 2.0, 2.5, "fresh breeze"},
	{6, 22, 27, 3.0, 4.0, "strong breeze"},
	{7, 28, 33, 4.0, 5.5, "near gale"},
	{8, 34, 40, 5.5, 7.5, "gale"},
	{9, 41, 47, 7.0, 10.0, "strong gale"},
	{10, 48, 55, 9.0, 12.5, "storm"},
	{11, 56, 63, 11.5, 16.0, "violent storm"},
	{12, 64, 0, 14.0, 0, "hurricane"},
}

// BeaufortOf returns the row of a mean wind in m/s (0 to 61.7, that is 120 kn), to the nearest whole knot.
//
// Source: WMO code table 1100.
func BeaufortOf(speedMS float64) (Beaufort, error) {
	if err := checkSpeed(speedMS); err != nil {
		return Beaufort{}, err
	}
	knots := math.Round(quantity.Knots(speedMS))
	last := len(forces) - 1
	for _, f := range forces[:last] {
		if knots <= f.HighKt {
			return f, nil
		}
	}
	return forces[last], nil
}
