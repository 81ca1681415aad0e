package numeric

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"

	"rideout/service/physics/quantity"
)

// EulerGamma is the Euler-Mascheroni constant.
const EulerGamma = 0.57721566490153286060651209008240243104215933593992

// Gumbel is the distribution of the largest of many values: P(X <= x) = exp(-exp(-(x - Location)/Scale)).
// Scale 0 is a certain value.
type Gumbel struct {
	Location, Scale float64 // the unit of x
}

// Mean returns the mean of the largest value.
func (g Gumbel) Mean() float64 { return g.Location + EulerGamma*g.Scale }

// MostProbable returns the mode of the largest value.
func (g Gumbel) MostProbable() float64 { return g.Location }

// Quantile returns the value that the largest stays below with probability p, 0 < p < 1.
func (g Gumbel) Quantile(p float64) float64 { return g.Location - g.Scale*math.Log(-math.Log(p)) }

// Largest is a Gumbel fitted to the r largest independent peaks of each of n equal records.
type Largest struct {
	Gumbel
	Records, PerRecord int
}

// FitLargest fits the distribution of a record's largest peak from the r largest peaks of each
// of n records of the same length: Weissman's estimator, in closed form. With x1 >= ... >= xr in
// a record, (x1 + ... + x(r-1))/(r-1) - xr estimates the scale without bias, and xr estimates
// location - scale * digamma(r). Records need not be sorted; each must hold at least r values.
//
// Domain: r >= 2, n >= 1. The theory takes the tail beyond the r-th peak as exponential; peaks
// must be independent (one for each wave group).
// Source: Weissman (1978), Estimation of parameters and large quantiles based on the k largest
// observations, J. Am. Stat. Assoc. 73, 812-815; the moments of the order statistics are derived here.
func FitLargest(records [][]float64, r int) (Largest, error) {
	if err := quantity.Within("peaks used in a record", float64(r), 2, math.MaxInt32, ""); err != nil {
		return Largest{}, err
	}
	if err := quantity.Within("records", float64(len(records)), 1, math.MaxInt32, ""); err != nil {
		return Largest{}, err
	}
	var scale, rth float64
	for _, rec := range records {
		if err := quantity.Within("peaks in a record", float64(len(rec)), float64(r), math.MaxInt32, ""); err != nil {
			return Largest{}, err
		}
		x := slices.Clone(rec)
		slices.SortFunc(x, func(a, b float64) int { return cmp.Compare(b, a) })
		above := 0.0
		for _, v := range x[:r-1] {
			above += v - x[r-1]
		}
		scale += above / float64(r-1)
		rth += x[r-1]
	}
	n := float64(len(records))
	scale /= n
	rth /= n
	return Largest{Gumbel{rth + scale*mathext.Digamma(float64(r)), scale}, len(records), r}, nil
}

// StandardError returns the standard error of Quantile(p) that the finite number of records
// leaves. Derived here from the exponential spacings of the r largest values (Renyi): the scale's
// estimate has variance s2/(n (r-1)), the r-th value s2 trigamma(r)/n, and they are independent.
func (l Largest) StandardError(p float64) float64 {
	r, n := float64(l.PerRecord), float64(l.Records)
	y := -math.Log(-math.Log(p))
	return l.Scale * math.Sqrt((trigamma(r)+sq(y+mathext.Digamma(r))/(r-1))/n)
}

// trigamma returns the derivative of digamma at a positive whole number, by its finite sum.
func trigamma(r float64) float64 {
	sum := math.Pi * math.Pi / 6
	for k := 1.0; k < r; k++ {
		sum -= 1 / (k * k)
	}
	return sum
}

func sq(x float64) float64 { return x * x }
