package numeric_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"rideout/service/physics/numeric"
	"rideout/service/physics/quantity"
)

func TestRootFindsKnownRoots(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name   string
		f      func(float64) float64
		lo, hi float64
		want   float64
	}{
		{"linear", func(x float64) float64 { return 2*x - 3 }, 0, 10, 1.5},
		{"square root of two", func(x float64) float64 { return x*x - 2 }, 0, 2, math.Sqrt2},
		{"cosine", math.Cos, 1, 2, math.Pi / 2},
		{"flat cubic", func(x float64) float64 { return (x - 1) * (x - 1) * (x - 1) }, -3, 8, 1},
		{"steep exponential", func(x float64) float64 { return math.Expm1(30 * (x - 0.7)) }, 0, 1, 0.7},
		{"root at the lower end", func(x float64) float64 { return x }, 0, 1, 0},
		{"root at the upper end", func(x float64) float64 { return x - 1 }, 0, 1, 1},
		{"ends given downward", func(x float64) float64 { return x - 0.25 }, 1, 0, 0.25},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, err := numeric.Root(c.f, c.lo, c.hi, 1e-12)
			if err != nil || math.Abs(got-c.want) > 1e-12 {
				t.Errorf("Root on [%g, %g] = %.15g, %v; want %.15g within 1e-12", c.lo, c.hi, got, err, c.want)
			}
		})
	}
}

func TestRootRefusesWithoutSignChange(t *testing.T) {
	t.Parallel()
	for _, f := range []func(float64) float64{
		func(x float64) float64 { return x*x + 1 },
		func(float64) float64 { return math.NaN() },
	} {
		_, err := numeric.Root(f, -1, 1, 1e-9)
		var out *quantity.RangeError
		if !errors.As(err, &out) {
			t.Errorf("Root without a sign change: %v, want a RangeError", err)
		}
	}
}

// Published: mean, mode and quantiles of the Gumbel distribution have closed forms (Gumbel 1958;
// any handbook). With location 0 and scale 1 the 90 % quantile is 2.2504 and the mean 0.5772.
func TestGumbelHandbookValues(t *testing.T) {
	t.Parallel()
	g := numeric.Gumbel{Location: 0, Scale: 1}
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"mean", g.Mean(), 0.5772},
		{"mode", g.MostProbable(), 0},
		{"median", g.Quantile(0.5), 0.3665},
		{"90 % quantile", g.Quantile(0.9), 2.2504},
	} {
		if math.Abs(c.got-c.want) > 5e-5 {
			t.Errorf("%s = %.6f, want %.4f", c.what, c.got, c.want)
		}
	}
}

// A synthetic record of many exponential values has a largest value that is Gumbel with known
// location and scale: the fit must find both, and its standard error must be the spread it has.
func TestFitLargestRecoversKnownTail(t *testing.T) {
	t.Parallel()
	const values, r, records, trials = 2000, 12, 6, 400
	rng := rand.New(rand.NewPCG(7, 11))
	want := numeric.Gumbel{Location: 3 + 0.5*math.Log(values), Scale: 0.5}
	var q90s []float64
	var claimed float64
	for range trials {
		recs := make([][]float64, records)
		for i := range recs {
			rec := make([]float64, values)
			for j := range rec {
				rec[j] = 3 + 0.5*rng.ExpFloat64()
			}
			slices.Sort(rec)
			recs[i] = rec[values-r-5:]
		}
		fit, err := numeric.FitLargest(recs, r)
		if err != nil {
			t.Fatal(err)
		}
		q90s = append(q90s, fit.Quantile(0.9))
		claimed += fit.StandardError(0.9) / trials
	}
	mean, sd := meanAndDeviation(q90s)
	if se := sd / math.Sqrt(trials); math.Abs(mean-want.Quantile(0.9)) > 4*se {
		t.Errorf("mean 90 %% quantile over %d trials = %.4f, want %.4f within 4 x %.4f", trials, mean, want.Quantile(0.9), se)
	}
	// The deviation of 400 draws is itself known to about 1/sqrt(800) = 3.5 %: three of them.
	if math.Abs(sd/claimed-1) > 0.11 {
		t.Errorf("spread of the quantile = %.4f, standard error claimed %.4f", sd, claimed)
	}
}

func TestFitLargestRefuses(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		records [][]float64
		r       int
	}{
		"one peak":        {[][]float64{{1, 2, 3}}, 1},
		"no record":       {nil, 3},
		"too few a peaks": {[][]float64{{1, 2, 3}, {1, 2}}, 3},
	} {
		if _, err := numeric.FitLargest(c.records, c.r); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func meanAndDeviation(x []float64) (mean, sd float64) {
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		sd += (v - mean) * (v - mean) / float64(len(x)-1)
	}
	return mean, math.Sqrt(sd)
}

// The largest load in 3 h from the three largest of two records.
func Example() {
	fit, _ := numeric.FitLargest([][]float64{{31, 36, 29}, {34, 30, 33}}, 3)
	fmt.Printf("most probable %.1f kN, 90 %% stay below %.1f kN\n", fit.MostProbable(), fit.Quantile(0.9))
	// Output: most probable 33.2 kN, 90 % stay below 42.2 kN
}
