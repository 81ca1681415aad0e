package wind_test

import (
	"math"
	"testing"

	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/physics/wind"
)

func estimate(t *testing.T, kind hull.Kind, loaM, beamM, freeboardM float64) []wind.Part {
	t.Helper()
	parts, err := wind.Estimate(kind, loaM, beamM, freeboardM)
	if err != nil {
		t.Fatal(err)
	}
	return parts
}

// Twice the vessel has four times the area, twice as high and as far aft.
func TestEstimateScales(t *testing.T) {
	t.Parallel()
	for _, kind := range hull.Kinds() {
		small, large := estimate(t, kind, 10, 3.5, 1.2), estimate(t, kind, 20, 7, 2.4)
		for i, p := range small {
			q := large[i]
			near(t, string(kind)+" frontal "+p.Name, q.FrontalAreaM2, 4*p.FrontalAreaM2)
			near(t, string(kind)+" lateral "+p.Name, q.LateralAreaM2, 4*p.LateralAreaM2)
			near(t, string(kind)+" height "+p.Name, q.CentreHeightM, 2*p.CentreHeightM)
			near(t, string(kind)+" place "+p.Name, q.CentreFromBowM, 2*p.CentreFromBowM)
		}
	}
}

func TestEstimateIsAUsableVessel(t *testing.T) {
	t.Parallel()
	for _, kind := range hull.Kinds() {
		for _, loa := range []float64{4, 12, 40} {
			parts := estimate(t, kind, loa, 0.35*loa, hull.EstimateFreeboardM(kind, loa))
			head, beam := force(t, parts, 20, 0, 60), force(t, parts, 20, 90, 60)
			if !(beam.AcrossN > head.AlongN && head.AlongN > 0) {
				t.Errorf("%s of %g m: head %g N, beam %g N, want the side to bear more", kind, loa, head.AlongN, beam.AcrossN)
			}
			if arm := beam.MomentNM / beam.AcrossN; !(arm > 0.3*loa && arm < 0.6*loa) {
				t.Errorf("%s of %g m: beam wind bears %g m aft of the stem", kind, loa, arm)
			}
		}
	}
}

// The estimate for a described vessel comes within its own spread of her measured areas.
func TestEstimateAgainstAMeasuredVessel(t *testing.T) {
	t.Parallel()
	measured := []wind.Part{{"topsides", 7, 17, 0.8, 5.8, 1}, {"superstructure", 9, 22, 2.4, 5.5, 1}}
	parts := estimate(t, hull.PowerDisplacement, 12.2, 4, 1.7)
	spread := wind.EstimateSpread()
	for _, off := range []float64{0, 90} {
		got, want := force(t, parts, 23, off, 60), force(t, measured, 23, off, 60)
		ratio := (got.AlongN + got.AcrossN) / (want.AlongN + want.AcrossN)
		if !(ratio > spread.Low && ratio < spread.High) {
			t.Errorf("%g degrees off: estimated %+v, measured %+v, outside the spread", off, got, want)
		}
	}
}

// The windage of a velocity prediction counts hull and mast alone, in one wind; ours adds house,
// rigging and sails and lets the wind fall toward the water.
func TestEstimateAgainstHazen(t *testing.T) {
	t.Parallel()
	u := quantity.MetresPerSecond(40)
	hazen, err := wind.HazenWindage(u, 3.4, 1.2, 14, 0.15)
	if err != nil {
		t.Fatal(err)
	}
	ours := force(t, estimate(t, hull.SailMonohull, 14/1.3, 3.4, 1.2), u, 0, 600)
	if ratio := ours.AlongN / hazen; !(ratio > 0.9 && ratio < 1.6) {
		t.Errorf("estimated %g N, velocity prediction %g N", ours.AlongN, hazen)
	}
}

func TestEstimateTakesAGivenFreeboard(t *testing.T) {
	t.Parallel()
	low, high := estimate(t, hull.Workboat, 15, 5, 0.5), estimate(t, hull.Workboat, 15, 5, 2)
	if low[0].LateralAreaM2 != 7.5 || high[0].LateralAreaM2 != 30 || !(high[1].CentreHeightM > low[1].CentreHeightM) {
		t.Errorf("freeboards of 0.5 and 2 m: %+v and %+v", low[:2], high[:2])
	}
	if tiny := estimate(t, hull.Workboat, 15, 5, 0.01); tiny[0].CentreHeightM != 0.1 {
		t.Errorf("awash: %+v, want its centre at the least height the profile covers", tiny[0])
	}
}

func TestEstimateRefuses(t *testing.T) {
	t.Parallel()
	refuse(t, "length overall", one(wind.Estimate(hull.Workboat, math.NaN(), 4, 1)))
	refuse(t, "beam", one(wind.Estimate(hull.Workboat, 12, 0, 1)))
	refuse(t, "freeboard", one(wind.Estimate(hull.Workboat, 12, 4, 5)))
	refuse(t, "freeboard", one(wind.Estimate(hull.Workboat, 12, 4, 0)))
	refuse(t, "proportions of hull kind airship", one(wind.Estimate("airship", 12, 4, 1)))
}
