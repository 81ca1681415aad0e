package calibration_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"rideout/service/calibration"
)

// One observation five times too large or too small, added to any number of sound outcomes, moves no
// factor by as much as the deviation it had; it is named, and counts next to nothing.
func TestOneWildObservationMovesLittle(t *testing.T) {
	t.Parallel()
	prior := calibration.DefaultPrior()
	for _, outcomes := range []int{0, 1, 2, 5, 20} {
		for seed := range 12 {
			rng := rand.New(rand.NewPCG(uint64(seed), uint64(outcomes)))
			tr := drawTruth(rng, prior, 1, 1)
			sound := tr.outcomes(rng, outcomes, 0.1, normal(rng, 0.1))
			wild := tr.outcome(rng, "wild", 0, 0, 0.1, normal(rng, 0.1))[seed%2]
			wild.Observed *= []float64{5, 0.2}[seed/2%2]

			before, after := estimate(t, sound, prior), estimate(t, append(sound, wild), prior)
			i := slices.IndexFunc(after.Outliers, func(o calibration.Outlier) bool { return o.ID == "wild" })
			if i < 0 {
				t.Fatalf("%d outcomes, seed %d: the wild observation is not among the outliers %+v", outcomes, seed, after.Outliers)
			}
			if o := after.Outliers[i]; o.Kind != wild.Kind || o.Weight > 0.1 || math.Abs(o.Residual) < 5 || (o.Residual > 0) != (seed/2%2 == 0) {
				t.Errorf("%d outcomes, seed %d: %+v", outcomes, seed, o)
			}
			if len(before.Vessels) == 0 {
				before.Vessels = []calibration.Vessel{{Windage: before.Unseen.Windage}}
				before.Canopies = []calibration.Canopy{{Drag: before.Unseen.Drag}}
				before.Pairs = []calibration.Pair{{Drift: before.Unseen.Drift}}
			}
			for what, f := range map[string][2]calibration.Factor{
				"the fleet's windage": {before.Fleet.Windage, after.Fleet.Windage},
				"the fleet's drag":    {before.Fleet.Drag, after.Fleet.Drag},
				"windage":             {before.Vessels[0].Windage, after.Vessels[0].Windage},
				"drag":                {before.Canopies[0].Drag, after.Canopies[0].Drag},
				"drift":               {before.Pairs[0].Drift, after.Pairs[0].Drift},
			} {
				if moved := math.Abs(math.Log(f[1].Mid / f[0].Mid)); !(moved < f[0].LogSD) {
					t.Errorf("%d outcomes, seed %d: %s moved by %.3f, more than its deviation %.3f", outcomes, seed, what, moved, f[0].LogSD)
				}
			}
		}
	}
}

// A wild first observation of a vessel new to a fleet tells as little.
func TestWildFirstObservationOfAVessel(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(3, 5))
	prior := calibration.DefaultPrior()
	tr := drawTruth(rng, prior, 6, 2)
	sound := slices.DeleteFunc(tr.outcomes(rng, 6, 0.1, normal(rng, 0.1)), func(o calibration.Observation) bool {
		return o.Vessel == vesselName(5)
	})
	wild := tr.outcome(rng, "wild", 5, 0, 0.1, normal(rng, 0.1))[1]
	wild.Observed *= 5
	unseen, after := estimate(t, sound, prior).Unseen.Windage, estimate(t, append(sound, wild), prior)
	got := after.Vessels[5].Windage
	if moved := math.Log(got.Mid / unseen.Mid); !(math.Abs(moved) < unseen.LogSD) {
		t.Errorf("a load five times the plan's moved a new vessel from %+v to %+v", unseen, got)
	}
	if len(after.Outliers) != 1 || after.Outliers[0].ID != "wild" {
		t.Errorf("outliers %+v, want the wild one", after.Outliers)
	}
}

// Where observations that agree lie far from the fleet, the vessel is other than the fleet and they
// are no outliers.
func TestAgreeingObservationsAreBelieved(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(8, 8))
	tr := truth{lnF: []float64{0.05, -0.05, 0, math.Log(2)}, lnD: []float64{0}}
	result := estimate(t, tr.outcomes(rng, 5, 0.1, normal(rng, 0.1)), calibration.DefaultPrior())
	if f := result.Vessels[3].Windage; !(f.Low > 1.5) || len(result.Outliers) > 0 {
		t.Errorf("twice the windage by ten observations: %+v, outliers %+v", f, result.Outliers)
	}
}

// With a share of wild observations of none, all are believed.
func TestNoWildShare(t *testing.T) {
	t.Parallel()
	prior := calibration.DefaultPrior()
	prior.WildShare = 0
	rng := rand.New(rand.NewPCG(8, 9))
	tr := truth{lnF: []float64{0}, lnD: []float64{0}}
	observations := tr.outcomes(rng, 6, 0.1, normal(rng, 0.1))
	sound := estimate(t, observations, prior)
	observations[1].Observed *= 5
	got := estimate(t, observations, prior)
	if len(got.Outliers) > 0 || got.LoadNoise.Mid < 2*sound.LoadNoise.Mid {
		t.Errorf("outliers %v, noise of loads %+v after %+v; want none and a much greater noise", fmt.Sprint(got.Outliers), got.LoadNoise, sound.LoadNoise)
	}
}
