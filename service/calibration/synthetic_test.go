package calibration_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"rideout/service/calibration"
)

// truth is an invented fleet whose factors are known, as logarithms: of its middle, of f for each
// vessel and of d for each canopy.
type truth struct {
	meanF, meanD float64
	lnF, lnD     []float64
}

// drawTruth draws a fleet from the prior.
func drawTruth(rng *rand.Rand, prior calibration.Prior, vessels, canopies int) truth {
	members := func(n int, mean, scale float64) []float64 {
		between := scale * math.Abs(rng.NormFloat64())
		u := make([]float64, n)
		for i := range u {
			u[i] = mean + between*rng.NormFloat64()
		}
		return u
	}
	tr := truth{meanF: prior.WindageFleetSD * rng.NormFloat64(), meanD: prior.DragFleetSD * rng.NormFloat64()}
	tr.lnF, tr.lnD = members(vessels, tr.meanF, prior.WindageBetweenSD), members(canopies, tr.meanD, prior.DragBetweenSD)
	return tr
}

// drift is ln sqrt(f/d) of a pair.
func (tr truth) drift(p calibration.Pair) float64 {
	var v, c int
	fmt.Sscanf(p.Vessel, "vessel %d", &v)
	fmt.Sscanf(p.Canopy, "canopy %d", &c)
	return (tr.lnF[v] - tr.lnD[c]) / 2
}

func vesselName(i int) string { return fmt.Sprintf("vessel %02d", i) }
func canopyName(i int) string { return fmt.Sprintf("canopy %02d", i) }

// outcome invents a drift and a load of a vessel with a canopy; noise gives the error of a logarithm.
func (tr truth) outcome(rng *rand.Rand, id string, vessel, canopy int, share float64, noise func() float64) []calibration.Observation {
	drift, load := 0.3+rng.Float64(), 1000+9000*rng.Float64()
	about := calibration.Observation{ID: id, Vessel: vesselName(vessel), Canopy: canopyName(canopy), Share: share}
	d, l := about, about
	d.Kind, d.Predicted, d.Observed = calibration.Drift, drift, drift*math.Exp((tr.lnF[vessel]-tr.lnD[canopy])/2+noise())
	l.Kind, l.Predicted, l.Observed = calibration.Load, load, load*math.Exp(tr.lnF[vessel]+noise())
	return []calibration.Observation{d, l}
}

// outcomes invents so many outcomes for each vessel, the canopies in turn.
func (tr truth) outcomes(rng *rand.Rand, each int, share float64, noise func() float64) []calibration.Observation {
	var all []calibration.Observation
	for v := range tr.lnF {
		for i := range each {
			c := (v + i) % len(tr.lnD)
			all = append(all, tr.outcome(rng, fmt.Sprintf("%02d-%03d", v, i), v, c, share, noise)...)
		}
	}
	return all
}

func normal(rng *rand.Rand, sd float64) func() float64 {
	return func() float64 { return sd * rng.NormFloat64() }
}

func estimate(t testing.TB, observations []calibration.Observation, prior calibration.Prior) calibration.Result {
	t.Helper()
	result, err := calibration.Estimate(observations, prior)
	if err != nil {
		t.Fatal(err)
	}
	return result
}
