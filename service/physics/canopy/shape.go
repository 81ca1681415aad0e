// Package canopy computes what a parachute canopy does in the water: its drag, the water it holds,
// how long it takes to fill, the load while it fills, and the size to choose.
//
// Every coefficient was measured in air, on parachutes. No tow-tank value for a flat circular
// canopy in water was found, so the drag coefficient is a band that is wider than the one in air,
// and the band is carried to every result.
package canopy

import (
	"fmt"
	"math"

	"rideout/service/physics/quantity"
)

// Shape is the pattern a canopy is cut to. The zero value is no shape and is refused.
type Shape string

// The shapes with known coefficients.
const (
	FlatCircular  Shape = "flat_circular"
	Conical       Shape = "conical"
	Hemispherical Shape = "hemispherical"
	Cross         Shape = "cross"
	Ringslot      Shape = "ringslot"
)

// Sources of the coefficients, as printed with an answer.
const (
	AirSource = "NWC TP 6575 (Knacke, Parachute Recovery Systems Design Manual, 1992) tables 5-1 and 5-2, quoted from memory; air values"

	Cd0Source = "our band about " + AirSource +
		": low is 0.8 of the lowest air value, high is 0.05 above the highest, for a canopy that pulses and leans in a seaway"

	FillSource        = AirSource
	FillAssumedSource = "our assumption: no fill constant found for this shape, that of a flat circular canopy taken"
)

// Coefficients are the figures of one shape, referred to the nominal diameter D0 and the nominal
// area pi D0^2/4. Those of Air are as quoted from the source; Cd0 is our band for use in water.
type Coefficients struct {
	ProjectedRatio quantity.Band // projected over nominal diameter, full canopy
	AirCd0Low      float64       // drag coefficient in air
	AirCd0High     float64
	Cd0            quantity.Band // drag coefficient in water, our band
	OpeningFactor  quantity.Band // peak over steady drag when a mass too heavy to slow opens it
	FillConstant   float64       // n in t = n D0/V: fill distance in nominal diameters
	FillSource     string
}

// Coefficients gives the figures of a shape, or an error for one that is not known.
func (s Shape) Coefficients() (Coefficients, error) {
	band := func(low, high float64) quantity.Band { return quantity.BandOf(low, (low+high)/2, high) }
	switch s {
	case FlatCircular:
		return Coefficients{band(0.67, 0.70), 0.75, 0.80, quantity.Band{Low: 0.60, Mid: 0.75, High: 0.85}, band(1.7, 1.7), 8, FillSource}, nil
	case Conical:
		return Coefficients{band(0.70, 0.70), 0.75, 0.90, quantity.Band{Low: 0.60, Mid: 0.80, High: 0.95}, band(1.8, 1.8), 8, FillAssumedSource}, nil
	case Hemispherical:
		return Coefficients{band(0.66, 0.66), 0.62, 0.77, quantity.Band{Low: 0.496, Mid: 0.70, High: 0.82}, band(1.6, 1.6), 8, FillAssumedSource}, nil
	case Cross:
		return Coefficients{band(0.66, 0.72), 0.60, 0.85, quantity.Band{Low: 0.48, Mid: 0.70, High: 0.90}, band(1.1, 1.2), 11.7, FillSource}, nil
	case Ringslot:
		return Coefficients{band(0.67, 0.70), 0.56, 0.65, quantity.Band{Low: 0.448, Mid: 0.60, High: 0.70}, band(1.05, 1.05), 14, FillSource}, nil
	}
	return Coefficients{}, fmt.Errorf("no coefficients for a canopy of shape %q", string(s))
}

// Shapes lists the known shapes in a fixed order.
func Shapes() []Shape { return []Shape{FlatCircular, Conical, Hemispherical, Cross, Ringslot} }

// Range of nominal diameters covered. Below, a drogue is meant; above, no canopy for lying to is
// made.
const (
	MinDiameterM = 0.5
	MaxDiameterM = 30.0
)

// Canopy is a canopy of a shape and a nominal diameter, with the coefficients it is computed by.
// Make it with New; the zero value has no drag. It is a value: copying and concurrent use are safe.
type Canopy struct {
	shape     Shape
	diameterM float64
	c         Coefficients
}

// New gives the canopy of a shape and a nominal diameter in m (0.5 to 30). The nominal diameter is
// that of a circle with the area of the cloth, vents and slots included.
func New(shape Shape, diameterM float64) (Canopy, error) {
	c, err := shape.Coefficients()
	if err != nil {
		return Canopy{}, err
	}
	if err := quantity.Within("canopy diameter", diameterM, MinDiameterM, MaxDiameterM, "m"); err != nil {
		return Canopy{}, err
	}
	return Canopy{shape, diameterM, c}, nil
}

// WithCd0 gives the same canopy with a drag coefficient the user knows better (0.05 to 2.5).
func (c Canopy) WithCd0(cd0 quantity.Band) (Canopy, error) {
	for _, v := range []float64{cd0.Low, cd0.Mid, cd0.High} {
		if err := quantity.Within("canopy drag coefficient", v, 0.05, 2.5, ""); err != nil {
			return Canopy{}, err
		}
	}
	c.c.Cd0 = quantity.BandOf(cd0.Low, cd0.Mid, cd0.High)
	return c, nil
}

// Shape gives the pattern.
func (c Canopy) Shape() Shape { return c.shape }

// DiameterM gives the nominal diameter D0 in m.
func (c Canopy) DiameterM() float64 { return c.diameterM }

// Cd0 gives the drag coefficient on the nominal area.
func (c Canopy) Cd0() quantity.Band { return c.c.Cd0 }

// NominalAreaM2 gives the nominal area S0 = pi D0^2/4 in m2.
func (c Canopy) NominalAreaM2() float64 { return math.Pi * c.diameterM * c.diameterM / 4 }

// ProjectedRadiusM gives the radius R in m of the mouth of the full canopy.
func (c Canopy) ProjectedRadiusM() quantity.Band {
	return c.c.ProjectedRatio.Scale(c.diameterM / 2)
}
