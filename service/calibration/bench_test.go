package calibration_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"rideout/service/calibration"
)

// large is 500 outcomes, 1,000 observations, of 100 vessels and 30 canopies.
func large() []calibration.Observation {
	rng := rand.New(rand.NewPCG(100, 30))
	tr := drawTruth(rng, calibration.DefaultPrior(), 100, 30)
	var all []calibration.Observation
	for i := range 500 {
		all = append(all, tr.outcome(rng, fmt.Sprint(i), i%100, rng.IntN(30), 0.1, normal(rng, 0.1))...)
	}
	return all
}

func BenchmarkEstimate(b *testing.B) {
	observations := large()
	for b.Loop() {
		estimate(b, observations, calibration.DefaultPrior())
	}
}
