// Package constant holds the physical constants and the environment values the computation
// assumes, each with its unit, its uncertainty and its source.
package constant

import "rideout/service/physics/quantity"

// Value is a constant with its provenance. Uncertainty is the half width of the plausible range
// in the same unit; zero means exact.
type Value struct {
	Value       float64
	Unit        string
	Uncertainty float64
	Source      string
}

// Coefficient is an uncertain fitted value with its provenance.
type Coefficient struct {
	quantity.Band
	Source string
}

// The environment every answer stands on.
var (
	Gravity = Value{G, "m/s2", 0, "SI brochure: standard gravity, exact by definition"}
	// SeaWaterDensity is the round value of naval practice; the sea ranges over about 1020-1029.
	SeaWaterDensity = Value{RhoWater, "kg/m3", 5, "common practice of naval architecture; UFC 4-159-03 uses the like"}
	// AirDensity is that of the ICAO standard atmosphere at sea level (15 C); cold air at 0 C is 5 % denser.
	AirDensity = Value{RhoAir, "kg/m3", 0.06, "ICAO standard atmosphere, sea level"}
	// SeaWaterViscosity is the kinematic viscosity at about 15 C.
	SeaWaterViscosity = Value{NuWater, "m2/s", 0.4e-6, "ITTC sea water at 15 C, value from memory; used in UFC 4-159-03 examples"}
)

// The plain numbers of the values above, for use in formulas.
const (
	G        = quantity.StandardGravityMS2 // m/s2
	RhoWater = 1025.0                      // kg/m3
	RhoAir   = 1.225                       // kg/m3
	NuWater  = 1.19e-6                     // m2/s
)
