package calibration

import (
	"math"
	"math/rand/v2"
)

// leastSpread is the least deviation between members, in units of its prior's scale: small enough to
// mean none, large enough to divide by.
const leastSpread = 1e-3

// drawSpread draws the deviation of normal departures, its prior half-normal with the given scale,
// by one step of slice sampling on its logarithm (Neal 2003, Annals of Statistics 31, 705-767,
// figures 3 and 5).
func drawSpread(rng *rand.Rand, now, scale float64, departures []float64) float64 {
	n, squares := float64(len(departures)), 0.0
	for _, u := range departures {
		squares += sq(u)
	}
	low := math.Log(leastSpread * scale)
	density := func(log float64) float64 {
		if log < low {
			return math.Inf(-1)
		}
		s := math.Exp(log)
		return log - n*log - squares/(2*sq(s)) - sq(s/scale)/2
	}
	return math.Exp(slice(rng, math.Max(math.Log(now), low), density))
}

// slice takes one step of slice sampling from x under a log density; x must have positive density.
func slice(rng *rand.Rand, x float64, density func(float64) float64) float64 {
	const width, steps = 1.0, 50
	level := density(x) - rng.ExpFloat64()
	left := x - width*rng.Float64()
	right := left + width
	for range steps {
		if density(left) <= level {
			break
		}
		left -= width
	}
	for range steps {
		if density(right) <= level {
			break
		}
		right += width
	}
	for {
		y := left + rng.Float64()*(right-left)
		if density(y) > level || y == x {
			return y
		}
		if y < x {
			left = y
		} else {
			right = y
		}
	}
}
