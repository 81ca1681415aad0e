package rode

import (
	"fmt"
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// NylonDensity is that of nylon 6 and 6.6 fibre; source: open mooring-line property library.
var NylonDensity = constant.Value{Value: 1140, Unit: "kg/m3", Uncertainty: 10, Source: "open mooring-line property library, nylon"}

// MassPerMetreKg gives the mass in kg/m of dry rope by construction and diameter in mm (6.35 to
// 50.8 for three-strand, 6.35 to 63.5 else): the three-strand table, or 585 d^2 (d in m) for the
// others. Source: ThreeStrandSource; open mooring-line property library for the coefficient 585.
func MassPerMetreKg(construction Construction, diameterMM float64) (float64, error) {
	switch construction {
	case ThreeStrand:
		lb, err := interpolate(threeStrandLbPer100ft, diameterMM)
		return lb * quantity.KilogramsPerPound / (100 * quantity.MetresPerFoot), err
	case DoubleBraid, Plaited:
		if err := quantity.Within("rope diameter", diameterMM, MinDiameterMM, MaxDoubleBraidMM, "mm"); err != nil {
			return 0, err
		}
		d := diameterMM / 1000
		return 585 * d * d, nil
	}
	return 0, fmt.Errorf("no mass for a rope of construction %q", string(construction))
}

// WeightInWaterNM gives the weight in N/m of soaked rope in sea water, from its dry mass in kg/m (0
// to 100).
func WeightInWaterNM(massKgM float64) (float64, error) {
	if err := quantity.Within("rope mass", massKgM, 0, 100, "kg/m"); err != nil {
		return 0, err
	}
	return massKgM * constant.G * (1 - constant.RhoWater/NylonDensity.Value), nil
}

// SteelWeightInWaterN gives the weight in N in sea water of a chain or sinker of steel with a mass
// in kg (0 to 1e5). Steel 7850 kg/m3, a handbook value from memory.
func SteelWeightInWaterN(massKg float64) (float64, error) {
	const steel = 7850.0
	if err := quantity.Within("chain or sinker mass", massKg, 0, 1e5, "kg"); err != nil {
		return 0, err
	}
	return massKg * constant.G * (1 - constant.RhoWater/steel), nil
}

// Hang is the steady vertical plane of a rode between the vessel and the canopy, in still water.
// The canopy and its lines are taken as weightless in water and pulling level; current on the rode
// is left out.
type Hang struct {
	PullN        float64 // horizontal pull of the canopy, N
	RodeWeightNM float64 // weight of the rode in water, N/m
	LengthM      float64 // rode paid out, m
}

func (h Hang) check() error {
	if err := quantity.Within("pull", h.PullN, 1, 1e7, "N"); err != nil {
		return err
	}
	if err := quantity.Within("rode weight", h.RodeWeightNM, 0, 1000, "N/m"); err != nil {
		return err
	}
	return quantity.Within("rode length", h.LengthM, 0.1, 5000, "m")
}

// CanopyDepthM gives the depth in m of the canopy below the vessel's fairlead with a chain or
// sinker of a weight in water in N (0 to 1 MN) at its end. The rode is a catenary that leaves the
// canopy at the slope of end weight over pull:
//
//	d = [sqrt(H^2 + (W + w L)^2) - sqrt(H^2 + W^2)]/w
//
// with H pull, W end weight, w weight a metre, L length; written without the difference, it holds
// for a weightless rode too. Stretch is left out.
func (h Hang) CanopyDepthM(endWeightN float64) (float64, error) {
	if err := h.check(); err != nil {
		return 0, err
	}
	if err := quantity.Within("end weight", endWeightN, 0, 1e6, "N"); err != nil {
		return 0, err
	}
	w, l, end := h.RodeWeightNM, h.LengthM, endWeightN
	atHull, atCanopy := math.Hypot(h.PullN, end+w*l), math.Hypot(h.PullN, end)
	return l * (2*end + w*l) / (atHull + atCanopy), nil
}

// EndWeightN gives the weight in water in N a chain or sinker must have to hold the canopy at a
// depth in m (0 to 0.99 of the length), the inverse of CanopyDepthM; 0 where the rode's own weight
// is enough:
//
//	W = 1/2 [d sqrt(w^2 + 4 H^2/(L^2 - d^2)) - w L]
func (h Hang) EndWeightN(depthM float64) (float64, error) {
	if err := h.check(); err != nil {
		return 0, err
	}
	if err := quantity.Within("canopy depth", depthM, 0, 0.99*h.LengthM, "m"); err != nil {
		return 0, err
	}
	w, l, d := h.RodeWeightNM, h.LengthM, depthM
	return math.Max(0, (d*math.Sqrt(w*w+4*h.PullN*h.PullN/(l*l-d*d))-w*l)/2), nil
}
