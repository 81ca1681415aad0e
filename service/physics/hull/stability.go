package hull

import (
	"math"

	"rideout/service/physics/quantity"
)

// RollPeriodS returns the natural roll period in s from beam B, draught d, waterline length L and
// metacentric height gmM, all in m: T = 2 C B/sqrt(GM), C = 0.373 + 0.023 B/d - 0.043 L/100.
//
// Source: IMO International Code on Intact Stability (2008), part A 2.3, from memory.
func RollPeriodS(beamM, draughtM, lwlM, gmM float64) (float64, error) {
	if err := quantity.Within("metacentric height", gmM, 0.01, 20, "m"); err != nil {
		return 0, err
	}
	c := 0.373 + 0.023*beamM/draughtM - 0.043*lwlM/100
	return 2 * c * beamM / math.Sqrt(gmM), nil
}

// CapsizeScreening returns the screening ratio B/(D/64)^(1/3), with the beam in ft and the
// displacement in lb as its authors used it; above 2 a hull is held too ready to stay inverted.
//
// Limits: single hulls; it knows nothing of ballast height or form.
// Source: Cruising Club of America technical committee, about 1985, from memory.
func CapsizeScreening(beamM, displacementKg float64) float64 {
	b := beamM / quantity.MetresPerFoot
	d := displacementKg / quantity.KilogramsPerPound
	return b / math.Cbrt(d/64)
}
