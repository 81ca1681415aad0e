package calibration_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"rideout/service/calibration"
)

// tally gathers, over many invented fleets, the errors of the middle values and how often the
// intervals held the truth.
type tally struct{ squares, held, n float64 }

func (s *tally) add(f calibration.Factor, truth float64) {
	e := math.Log(f.Mid) - truth
	s.squares += e * e
	s.n++
	if v := math.Exp(truth); v >= f.Low && v <= f.High {
		s.held++
	}
}

func (s tally) rms() float64      { return math.Sqrt(s.squares / s.n) }
func (s tally) coverage() float64 { return s.held / s.n }

// tallies of the factors of vessels, canopies, pairs, and the fleet's middle.
type tallies struct{ windage, drag, drift, fleet tally }

func (s *tallies) add(r calibration.Result, tr truth) {
	for i, v := range r.Vessels {
		s.windage.add(v.Windage, tr.lnF[i])
	}
	for i, c := range r.Canopies {
		s.drag.add(c.Drag, tr.lnD[i])
	}
	for _, p := range r.Pairs {
		s.drift.add(p.Drift, tr.drift(p))
	}
	s.fleet.add(r.Fleet.Windage, tr.meanF)
	s.fleet.add(r.Fleet.Drag, tr.meanD)
}

// What 20 outcomes of a vessel, each with a drift and a load, noise 10 %, tell: root mean square of
// ln(estimate/truth) over 150 fleets. Limits: 3 % where the information in the observations allows it,
// and else what it allows, 5 % for the drag of a canopy (see the package's doc).
func TestRecovery(t *testing.T) {
	t.Parallel()
	prior := calibration.DefaultPrior()
	drawn := func(vessels int) func(*rand.Rand) truth {
		return func(rng *rand.Rand) truth { return drawTruth(rng, prior, vessels, 1) }
	}
	farOff := func(*rand.Rand) truth { // both at the edge of what the plan holds likely
		return truth{meanF: math.Log(1.2), meanD: math.Log(0.85), lnF: []float64{math.Log(1.2)}, lnD: []float64{math.Log(0.85)}}
	}
	for _, c := range []struct {
		name                 string
		truth                func(*rand.Rand) truth
		windage, drag, drift float64 // limits; 0 where none is claimed
	}{
		{"one vessel and one canopy", drawn(1), 0.03, 0.05, 0.03},
		{"three vessels that share a canopy", drawn(3), 0.03, 0.03, 0.03},
		{"one vessel, f 1.2 and d 0.85", farOff, 0.03, 0, 0.03},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			rng := rand.New(rand.NewPCG(20, 10))
			var all tallies
			for range 150 {
				tr := c.truth(rng)
				all.add(estimate(t, tr.outcomes(rng, 20, 0.10, normal(rng, 0.10)), prior), tr)
			}
			t.Logf("root mean square: windage %.4f, drag %.4f, drift %.4f", all.windage.rms(), all.drag.rms(), all.drift.rms())
			for _, f := range []struct {
				what  string
				tally tally
				limit float64
			}{{"windage", all.windage, c.windage}, {"drag", all.drag, c.drag}, {"drift", all.drift, c.drift}} {
				if f.limit > 0 && !(f.tally.rms() <= f.limit) {
					t.Errorf("%s within %.4f, want %g", f.what, f.tally.rms(), f.limit)
				}
			}
		})
	}
}

// The interval of 90 % holds 90 +- 3 % of the truths of 500 fleets of three vessels and two canopies,
// six outcomes a vessel, noise 10 %, with and without wild observations among them.
func TestCoverage(t *testing.T) {
	t.Parallel()
	prior := calibration.DefaultPrior()
	for name, noise := range map[string]func(*rand.Rand) float64{
		"normal": func(rng *rand.Rand) float64 { return 0.1 * rng.NormFloat64() },
		"one in twenty wild": func(rng *rand.Rand) float64 {
			if rng.Float64() < 0.05 {
				return math.Max(-2.3, math.Min(2.3, 2*rng.NormFloat64()))
			}
			return 0.1 * rng.NormFloat64()
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			rng := rand.New(rand.NewPCG(90, 500))
			var all tallies
			for range 500 {
				tr := drawTruth(rng, prior, 3, 2)
				all.add(estimate(t, tr.outcomes(rng, 6, 0.1, func() float64 { return noise(rng) }), prior), tr)
			}
			for what, f := range map[string]tally{"windage": all.windage, "drag": all.drag, "drift": all.drift, "the fleet": all.fleet} {
				t.Logf("%s: %.1f %% of %g truths held", what, 100*f.coverage(), f.n)
				if !(math.Abs(f.coverage()-0.90) <= 0.03) {
					t.Errorf("%s: %.1f %% of %g truths held, want 90 +- 3", what, 100*f.coverage(), f.n)
				}
			}
		})
	}
}
