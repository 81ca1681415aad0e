package calibration_test

import (
	"fmt"
	"math"
	"math/bits"
	"testing"

	"rideout/service/calibration"
)

// part is a normal law with a weight.
type part struct{ weight, mean, sd float64 }

// loadsOfOneVessel gives the posterior of ln f of a fleet of one vessel with loads alone, as a sum of
// normal laws: over every way the observations can be sound or wild, and by quadrature over the
// deviation between vessels and the factor on the stated accuracies. It shares no code with the
// package. Given those two and the way, ln f is normal with variance v about 0 before, and each
// observation normal about it.
func loadsOfOneVessel(prior calibration.Prior, logRatios []float64, share float64) []part {
	const wildVariance, wildWeight, steps = 4.0, 20.0, 120
	n := len(logRatios)
	a, b := wildWeight*prior.WildShare, wildWeight*(1-prior.WildShare)
	var parts []part
	for i := range steps {
		between := 5 * prior.WindageBetweenSD * (float64(i) + 0.5) / steps
		v := prior.WindageFleetSD*prior.WindageFleetSD + between*between
		pBetween := math.Exp(-between * between / (2 * prior.WindageBetweenSD * prior.WindageBetweenSD))
		for j := range steps {
			lnPhi2 := -2.5 + 6*(float64(j)+0.5)/steps // of the squared factor; its law on this scale:
			pNoise := math.Exp(-prior.StatedWeight / 2 * (lnPhi2 + math.Exp(-lnPhi2)))
			for way := range 1 << n {
				k := float64(bits.OnesCount(uint(way)))
				logWeight := lgamma(a+k) + lgamma(b+float64(n)-k)
				precision, pull := 1/v, 0.0
				for o, z := range logRatios {
					variance := share * share * math.Exp(lnPhi2)
					if way>>o&1 == 1 {
						variance = wildVariance
					}
					precision += 1 / variance
					pull += z / variance
					logWeight -= z*z/(2*variance) + math.Log(variance)/2
				}
				logWeight += pull*pull/(2*precision) - math.Log(v*precision)/2
				parts = append(parts, part{pBetween * pNoise * math.Exp(logWeight), pull / precision, math.Sqrt(1 / precision)})
			}
		}
	}
	return parts
}

func lgamma(x float64) float64 {
	v, _ := math.Lgamma(x)
	return v
}

// below is the probability of the logarithm to be less than x.
func below(parts []part, x float64) float64 {
	var sum, total float64
	for _, p := range parts {
		total += p.weight
		sum += p.weight * math.Erfc((p.mean-x)/(p.sd*math.Sqrt2)) / 2
	}
	return sum / total
}

// The quantiles lie where quadrature puts them, also where an observation may be wild or not and the
// law has two humps. Tolerances in probability: four standard errors of 2,000 draws, of which as
// few as 800 count as independent where the chain must cross from hump to hump.
func TestAgainstQuadrature(t *testing.T) {
	t.Parallel()
	prior := calibration.DefaultPrior()
	const share = 0.1
	for _, logRatios := range [][]float64{
		{},
		{0.1},
		{0.5},
		{0.8},
		{1.1},
		{1.6},
		{-0.9},
		{0.2, 0.25},
		{0.1, 0.7},
		{0.8, 0.85},
		{1.0, -0.1, 0.05},
		{0.3, 0.2, 0.4, -1.6},
	} {
		var observations []calibration.Observation
		for i, z := range logRatios {
			observations = append(observations, calibration.Observation{
				ID: fmt.Sprint(i), Vessel: "Eider", Canopy: "flat 5.5 m", Kind: calibration.Load,
				Predicted: 5000, Observed: 5000 * math.Exp(z), Share: share,
			})
		}
		result := estimate(t, observations, prior)
		got := result.Unseen.Windage
		if len(logRatios) > 0 {
			got = result.Vessels[0].Windage
		}
		parts := loadsOfOneVessel(prior, logRatios, share)
		for _, c := range []struct{ at, want, tol float64 }{
			{got.Low, 0.05, 0.031}, {got.Mid, 0.50, 0.071}, {got.High, 0.95, 0.031},
		} {
			if p := below(parts, math.Log(c.at)); !(math.Abs(p-c.want) <= c.tol) {
				t.Errorf("loads of e^%v: the %g %% quantile %.4f lies at %.1f %% (factor %+v)", logRatios, 100*c.want, c.at, 100*p, got)
			}
		}
	}
}
