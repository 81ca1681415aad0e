package calibration_test

import (
	"fmt"

	"rideout/service/calibration"
)

// Two invented vessels share a canopy of 5.5 m. The Eider has lain to it four times, the Petrel once. One of
// the Eider's drifts was noted in knots where m/s were asked.
func Example() {
	const canopy = "flat circular 5.5 m"
	drift := func(id, vessel string, plannedMS, seenMS float64) calibration.Observation {
		return calibration.Observation{ID: id, Vessel: vessel, Canopy: canopy, Kind: calibration.Drift, Predicted: plannedMS, Observed: seenMS, Share: 0.10}
	}
	load := func(id, vessel string, plannedN, seenN float64) calibration.Observation {
		return calibration.Observation{ID: id, Vessel: vessel, Canopy: canopy, Kind: calibration.Load, Predicted: plannedN, Observed: seenN, Share: 0.10}
	}
	result, err := calibration.Estimate([]calibration.Observation{
		drift("January", "Eider", 0.52, 0.63), load("January", "Eider", 4100, 5000),
		drift("March", "Eider", 0.61, 1.42), load("March", "Eider", 5600, 6500),
		drift("April", "Eider", 0.45, 0.56), load("April", "Eider", 3000, 3800),
		drift("November", "Eider", 0.70, 0.80), load("November", "Eider", 7400, 8800),
		drift("December", "Petrel", 0.66, 0.68),
	}, calibration.DefaultPrior())
	if err != nil {
		fmt.Println(err)
		return
	}
	show := func(what string, f calibration.Factor) {
		fmt.Printf("%s: %.2f (%.2f to %.2f), from %d observed\n", what, f.Mid, f.Low, f.High, f.Observations)
	}
	for _, v := range result.Vessels {
		show("wind force on the "+v.Name, v.Windage)
	}
	for _, c := range result.Canopies {
		show("drag of the "+c.Name, c.Drag)
	}
	for _, p := range result.Pairs {
		show("drift of the "+p.Vessel, p.Drift)
	}
	for _, o := range result.Outliers {
		fmt.Println(o.Text)
	}
	// Output:
	// wind force on the Eider: 1.21 (1.13 to 1.30), from 8 observed
	// wind force on the Petrel: 1.11 (0.86 to 1.31), from 1 observed
	// drag of the flat circular 5.5 m: 0.94 (0.83 to 1.06), from 5 observed
	// drift of the Eider: 1.14 (1.06 to 1.21), from 4 observed
	// drift of the Petrel: 1.09 (0.96 to 1.19), from 1 observed
	// March: the drift of Eider with flat circular 5.5 m was 2.33 times the plan's, 7.8 times its noise from what the rest says; it was kept and counts 3 % of a sound one; look at the log before believing either
}
