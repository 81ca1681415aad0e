package wind_test

import (
	"testing"

	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/physics/wind"
)

func TestAnchoringRises(t *testing.T) {
	t.Parallel()
	last := wind.AnchoringLoad{}
	for loa := 15.0; loa <= 100; loa++ {
		load, err := wind.Anchoring(hull.PowerPlaning, loa*quantity.MetresPerFoot, 2)
		if err != nil || load.WorkingN < last.WorkingN || !(load.LunchN < load.WorkingN && load.WorkingN < load.StormN) {
			t.Errorf("%g ft: %+v after %+v, %v", loa, load, last, err)
		}
		if load.Beyond != (loa > 70) {
			t.Errorf("%g ft: beyond the table is %t", loa, load.Beyond)
		}
		last = load
	}
}

func TestAnchoringTakesTheLargerEntry(t *testing.T) {
	t.Parallel()
	const ft, lbf = quantity.MetresPerFoot, quantity.NewtonsPerPoundForce
	for _, c := range []struct {
		kind          hull.Kind
		loaFt, beamFt float64
		workingLbf    float64
		why           string
	}{
		{hull.PowerPlaning, 30, 11, 700, "both on the row"},
		{hull.PowerPlaning, 30, 14, 1200, "the beam is the larger"},
		{hull.PowerPlaning, 40, 8, 1200, "the length is the larger"},
		{hull.SailMonohull, 30, 11, 1200, "a sailing vessel of that beam is a longer one"},
		{hull.PowerPlaning, 30, 25, 2700, "wider than any row with a known beam"},
	} {
		load, err := wind.Anchoring(c.kind, c.loaFt*ft, c.beamFt*ft)
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.why, load.WorkingN, c.workingLbf*lbf)
	}
	refuse(t, "length overall", one(wind.Anchoring(hull.Workboat, 0, 3)))
	refuse(t, "beam", one(wind.Anchoring(hull.Workboat, 10, 0)))
}

// The table holds surge: on a vessel of its size it stands well above the windage at the same wind.
func TestAnchoringIsAboveWindage(t *testing.T) {
	t.Parallel()
	table, err := wind.Anchoring(hull.PowerDisplacement, 12.2, 4)
	if err != nil {
		t.Fatal(err)
	}
	windage := force(t, estimate(t, hull.PowerDisplacement, 12.2, 4, 1.7), quantity.MetresPerSecond(42), 0, 60)
	if ratio := table.StormN / windage.AlongN; !(ratio > 1.5 && ratio < 8) {
		t.Errorf("table %g N, windage %g N", table.StormN, windage.AlongN)
	}
}
