package calibration

import (
	"fmt"
	"math"
)

// notes says what all the observations together cannot tell.
func notes(n counts) []string {
	var said []string
	switch {
	case n.all() == 0:
		said = append(said, "no outcome was observed: every factor is what was assumed before")
	case n.loads == 0:
		said = append(said, "no load was observed: windage and drag are known through their ratio alone; go by the drift factors of vessel and canopy")
	case n.drifts == 0:
		said = append(said, "no drift was observed: nothing was learned of the canopies")
	}
	return said
}

// noteOf says how far to rely on the factor of one member of the fleet.
func noteOf(f Factor, side string, told bool) string {
	switch {
	case f.Observations == 0:
		return fmt.Sprintf("no observation tells of it: this is what the %s of the fleet are like", side)
	case f.ShrunkToFleet > 0.5:
		return fmt.Sprintf("what was observed (%d) leaves %.0f %% of the variance of one not seen: this leans on the fleet more than on its own outcomes", f.Observations, 100*f.ShrunkToFleet)
	case !told:
		return "no load was observed: her windage is known through drift and what the canopies are like"
	}
	return ""
}

// outliers names the observations more likely wild than sound, in the order of vessel, canopy, kind and id.
func (f fleet) outliers(rec *record) []Outlier {
	var named []Outlier
	for i, o := range f.observations {
		if rec.wild[i] <= 0.5 {
			continue
		}
		named = append(named, Outlier{
			ID: o.ID, Kind: o.Kind, Residual: rec.residual[i], Weight: 1 - rec.wild[i],
			Text: fmt.Sprintf("%s: the %s of %s with %s was %.3g times the plan's, %.1f times its noise from what the rest says; "+
				"it was kept and counts %.0f %% of a sound one; look at the log before believing either",
				o.ID, o.Kind, o.Vessel, o.Canopy, o.Observed/o.Predicted, math.Abs(rec.residual[i]), 100*(1-rec.wild[i])),
		})
	}
	return named
}
