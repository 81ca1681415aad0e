package planner

import (
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
	"rideout/service/physics/wind"
)

// driverSeeds are the records an input's effect is measured on: the same seas at both ends, so that
// the difference shows before the figures themselves settle.
const driverSeeds = 2

// input is an uncertain input and its effect on the peak in the worst phase.
type input struct {
	name, unit, source string
	value              Band
	low, high          uncertain
	peakN              Band
}

// uncertainInputs lists the inputs whose band has a width.
func uncertainInputs(x situation, kr rode.Stiffness) []input {
	all := []input{
		{name: "dynamic stiffness of the rode", unit: "breaking loads", value: kr.Band, source: stiffnessSource(kr), low: uncertain{stiffness: low}, high: uncertain{stiffness: high}},
		{name: "canopy drag coefficient Cd0", value: x.rig.canopy.Cd0(), source: x.rig.cd0Source(), low: uncertain{cd0: low}, high: uncertain{cd0: high}},
		{name: "mean wave drift", unit: "N", value: x.driftN, source: waveDriftSource(x.ship.heading).Source, low: uncertain{drift: low}, high: uncertain{drift: high}},
		{name: "static curve, first coefficient a", value: x.rig.staticA, source: rode.StaticA.Source, low: uncertain{staticA: low}, high: uncertain{staticA: high}},
		{name: "relaxation time of the rode", unit: "s", value: x.relaxS, source: rode.RelaxationS.Source, low: uncertain{relaxation: low}, high: uncertain{relaxation: high}},
	}
	if x.ship.windBand.Mid > 0 && x.assume.WindForceN == nil {
		name, source := "wind force on estimated windage", wind.EstimateSpread().Source
		if x.calibrated() {
			name, source = "wind force", learntSource
		}
		all = append(all, input{name: name, unit: "N", value: x.ship.windBand.Scale(x.windN), source: source, low: uncertain{windage: low}, high: uncertain{windage: high}})
	}
	kept := all[:0]
	for _, in := range all {
		if !in.value.Known() {
			kept = append(kept, in)
		}
	}
	return kept
}

func stiffnessSource(kr rode.Stiffness) string {
	if kr.LowSource == "" {
		return kr.MidSource
	}
	return "middle: " + kr.MidSource + "; ends: " + kr.LowSource
}

// measure scales the input's effect, as a ratio in the same seas, to the peak of the full study.
func (in *input) measure(s, paid study) {
	peak := func(i int) float64 { return s.loads[i].PeakN() }
	mid := paid.loads[1].PeakN()
	if peak(1) <= 0 {
		in.peakN = quantity.Exactly(mid)
		return
	}
	in.peakN = quantity.BandOf(mid*peak(0)/peak(1), mid, mid*peak(2)/peak(1))
}

// width is how far the input moves the peak.
func (in input) width() float64 { return in.peakN.High - in.peakN.Low }
