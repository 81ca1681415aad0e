package hardware

import (
	"math"

	"rideout/service/physics/quantity"
)

// DrogueSource marks the comparison below. It was computed for drogues over the stern, which yield
// less than a canopy on a long rode over the bow: set it beside a computed load, never mix it in.
const DrogueSource = "USCG CG-D-20-87, design load of a stern drogue against displacement; stern drogue, for comparison only"

// The two published points; between them a straight line on logarithms, our choice.
const (
	drogueLightLb, drogueLightN = 7500.0, 33400.0
	drogueHeavyLb, drogueHeavyN = 60000.0, 160000.0
)

// DrogueDesignLoadN gives the published design load in N of a stern drogue for a displacement in kg
// (3402 to 27 215, which is 7500 to 60 000 lb). Source: DrogueSource.
func DrogueDesignLoadN(displacementKg float64) (float64, error) {
	lb := displacementKg / quantity.KilogramsPerPound
	// The ends are let in with the rounding of a conversion to kilograms and back.
	if err := quantity.Within("displacement", lb, drogueLightLb*(1-1e-4), drogueHeavyLb*(1+1e-4), "lb"); err != nil {
		return 0, err
	}
	exponent := math.Log(drogueHeavyN/drogueLightN) / math.Log(drogueHeavyLb/drogueLightLb)
	return drogueLightN * math.Pow(lb/drogueLightLb, exponent), nil
}
