package canopy

import (
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// MaxSpeedMS is the greatest speed through the water the drag law is used for: well above what a
// vessel lying to a canopy can reach, so a faster one is a mistake in the input.
const MaxSpeedMS = 15.0

// DragFactor gives k in N s2/m2 so that the drag of the full canopy is k V^2: the form a time
// integration wants.
func (c Canopy) DragFactor() quantity.Band {
	rho, s0 := constant.RhoWater, c.NominalAreaM2()
	return c.c.Cd0.Scale(0.5 * rho * s0)
}

// DragN gives the drag in N of the full canopy at a speed through the water in m/s (0 to 15).
//
//	D = 1/2 rho Cd0 S0 V^2
//
// Steady flow from ahead; nothing is said about flow from behind, which empties the canopy. Source:
// NWC TP 6575 (Knacke 1992), the definition of Cd0, from memory.
func (c Canopy) DragN(speedMS float64) (quantity.Band, error) {
	if err := quantity.Within("speed through the water", speedMS, 0, MaxSpeedMS, "m/s"); err != nil {
		return quantity.Band{}, err
	}
	return c.DragFactor().Scale(speedMS * speedMS), nil
}

// SpeedForDrag gives the speed through the water in m/s at which the drag is forceN (0 to 10 MN):
// the drift of a vessel that a steady force pushes. Low is the speed at the high drag coefficient.
func (c Canopy) SpeedForDrag(forceN float64) (quantity.Band, error) {
	if err := quantity.Within("force on the canopy", forceN, 0, 1e7, "N"); err != nil {
		return quantity.Band{}, err
	}
	if err := quantity.Within("canopy diameter", c.diameterM, MinDiameterM, MaxDiameterM, "m"); err != nil {
		return quantity.Band{}, err
	}
	k := c.DragFactor()
	return quantity.BandOf(math.Sqrt(forceN/k.High), math.Sqrt(forceN/k.Mid), math.Sqrt(forceN/k.Low)), nil
}

// InertiaKg gives the mass in kg of the water that must be accelerated with the full canopy along
// its axis, taken as that of a disc of its projected radius:
//
//	m = 8/3 rho R^3
//
// The cloth and lines, which weigh next to nothing in water, are left out. Unbounded fluid. Source:
// Lamb, Hydrodynamics, 6th ed. 1932, art. 102 and 108, potential flow, from memory.
func (c Canopy) InertiaKg() quantity.Band {
	r := c.ProjectedRadiusM()
	disc := func(r float64) float64 { return 8.0 / 3 * constant.RhoWater * r * r * r }
	return quantity.Band{Low: disc(r.Low), Mid: disc(r.Mid), High: disc(r.High)}
}

// EnclosedKg gives the mass in kg of the water inside the full canopy taken as a hemisphere, 2/3 pi
// rho R^3: what a hoist or a trip line feels, and a lower figure to set beside InertiaKg.
func (c Canopy) EnclosedKg() quantity.Band {
	r := c.ProjectedRadiusM()
	cup := func(r float64) float64 { return 2.0 / 3 * math.Pi * constant.RhoWater * r * r * r }
	return quantity.Band{Low: cup(r.Low), Mid: cup(r.Mid), High: cup(r.High)}
}

// TowPoint is one reading of a tow trial.
type TowPoint struct {
	SpeedMS float64
	PullN   float64
}

// DragExponent gives p of pull = c V^p by least squares on the logarithms of at least two readings
// with different speeds. A canopy that holds its shape has p = 2; small porous cones bear less as
// speed grows, with p near 1.4, which is why their tow figures say nothing about a canopy.
func DragExponent(points []TowPoint) (float64, error) {
	if err := quantity.Within("number of tow readings", float64(len(points)), 2, 1e6, ""); err != nil {
		return 0, err
	}
	var meanX, meanY float64
	for _, p := range points {
		if err := quantity.Within("tow speed", p.SpeedMS, 1e-3, MaxSpeedMS, "m/s"); err != nil {
			return 0, err
		}
		if err := quantity.Within("tow pull", p.PullN, 1e-3, 1e7, "N"); err != nil {
			return 0, err
		}
		meanX += math.Log(p.SpeedMS) / float64(len(points))
		meanY += math.Log(p.PullN) / float64(len(points))
	}
	var sxx, sxy float64
	for _, p := range points {
		dx := math.Log(p.SpeedMS) - meanX
		sxx += dx * dx
		sxy += dx * (math.Log(p.PullN) - meanY)
	}
	if err := quantity.Within("spread of tow speeds", sxx, 1e-6, math.Inf(1), ""); err != nil {
		return 0, err
	}
	return sxy / sxx, nil
}
