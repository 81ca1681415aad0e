package planner

import (
	"math"
)

// each applies a rounding to the estimates of a band.
func each(b Band, f func(float64) float64) Band {
	return Band{Low: f(b.Low), Mid: f(b.Mid), High: f(b.High)}
}

func r1(x float64) float64 { return math.Round(x*10) / 10 }
func r2(x float64) float64 { return math.Round(x*100) / 100 }
func r3(x float64) float64 { return math.Round(x*1000) / 1000 }

// sig3 rounds to three significant digits.
func sig3(x float64) float64 { return significant(x, 3) }

func significant(x float64, digits int) float64 {
	if x == 0 || math.IsInf(x, 0) {
		return x
	}
	p := math.Pow(10, float64(digits-1)-math.Floor(math.Log10(math.Abs(x))))
	return math.Round(x*p) / p
}
