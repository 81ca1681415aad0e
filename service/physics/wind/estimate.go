package wind

import (
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
)

// proportions are the shares an estimate is made from: heights, lengths and places in lengths overall,
// widths in beams, mast diameters in mast heights, areas of rigging in areas of mast. Every one is our
// estimate, no source, from the look of common vessels, save where said.
type proportions struct {
	hullWidth                                           float64 // of the front of the topsides
	houseWidth, houseHeight, houseLength, houseFromBow  float64 // superstructure or coachroof
	mastHeight, mastDiameter, mastFromBow               float64 // mast height above the deck
	rigging                                             float64 // stays and shrouds
	furledDiameter, stowHeight, stowLength, stowFromBow float64 // headsail furled on its stay; sail on the boom
}

// Mast 0.0107 of its height thick: the 14 m by 150 mm of the windage check of the tests.
// Rigging 0.36 of the mast's area follows from a published 12 m design: 76.7 m of 8 mm and 23.9 m of
// 10 mm wire beside a mast of 139 mm, its height taken as 17 m.
// Source: Larsson and Eliasson, Principles of Yacht Design, fig. 9.2.
func proportionsOf(kind hull.Kind) (proportions, bool) {
	switch kind {
	case hull.PowerDisplacement:
		return proportions{
			hullWidth: 1, houseWidth: 0.90, houseHeight: 0.20, houseLength: 0.75, houseFromBow: 0.45,
			mastHeight: 0.45, mastDiameter: 0.02, mastFromBow: 0.45, rigging: 0.36,
		}, true
	case hull.PowerPlaning:
		return proportions{
			hullWidth: 1, houseWidth: 0.85, houseHeight: 0.13, houseLength: 0.50, houseFromBow: 0.50,
			mastHeight: 0.25, mastDiameter: 0.03, mastFromBow: 0.55,
		}, true
	case hull.Workboat:
		return proportions{
			hullWidth: 1, houseWidth: 0.80, houseHeight: 0.22, houseLength: 0.40, houseFromBow: 0.35,
			mastHeight: 0.50, mastDiameter: 0.025, mastFromBow: 0.40, rigging: 0.50,
		}, true
	case hull.SailMonohull:
		return proportions{
			hullWidth: 1, houseWidth: 0.60, houseHeight: 0.045, houseLength: 0.45, houseFromBow: 0.50,
			mastHeight: 1.30, mastDiameter: 0.0107, mastFromBow: 0.42, rigging: 0.36,
			furledDiameter: 0.010, stowHeight: 0.03, stowLength: 0.38, stowFromBow: 0.62,
		}, true
	case hull.SailMultihull:
		return proportions{ // two hulls of a fifth of the beam
			hullWidth: 0.40, houseWidth: 0.80, houseHeight: 0.12, houseLength: 0.55, houseFromBow: 0.50,
			mastHeight: 1.35, mastDiameter: 0.0125, mastFromBow: 0.40, rigging: 0.30,
			furledDiameter: 0.011, stowHeight: 0.035, stowLength: 0.40, stowFromBow: 0.60,
		}, true
	}
	return proportions{}, false
}

// Shape coefficients of the estimated parts. Topsides and house 1.0: our estimate, on the safe side of the 0.5
// of a fair hull end-on (Larsson and Eliasson, Principles of Yacht Design, fig. 9.2) and beside the 1.13 of
// the windage of velocity predictions. Spars 1.0 and wires 1.2: the same figure 9.2.
const (
	bluffCd = 1.0
	sparCd  = 1.0
	wireCd  = 1.2
)

// EstimateSpread is how far the force on estimated parts may lie from that on the vessel herself.
func EstimateSpread() constant.Coefficient {
	return constant.Coefficient{Band: quantity.Band{Low: 0.7, Mid: 1, High: 1.4}, Source: "our estimate, no source"}
}

// Estimate returns the parts of a vessel of which no areas are known, from her kind, length overall in m (3
// to 60), beam in m (0.1 to 1 of the length) and mean freeboard in m (0.01 to a third of the length; where it is not
// known either, hull.EstimateFreeboardM), sails furled. An estimate from proportions without a source: say so
// wherever its result is shown, and carry EstimateSpread.
func Estimate(kind hull.Kind, loaM, beamM, freeboardM float64) ([]Part, error) {
	if err := quantity.Within("length overall", loaM, 3, 60, "m"); err != nil {
		return nil, err
	}
	if err := quantity.Within("beam", beamM, 0.1*loaM, loaM, "m"); err != nil {
		return nil, err
	}
	if err := quantity.Within("freeboard", freeboardM, 0.01, loaM/3, "m"); err != nil {
		return nil, err
	}
	p, known := proportionsOf(kind)
	if !known {
		return nil, &quantity.RangeError{Name: "proportions of hull kind " + string(kind), Value: 0, Min: 1, Max: 1, Unit: "known"}
	}
	parts := append(p.hull(loaM, beamM, freeboardM), p.rig(loaM, freeboardM)...)
	for i := range parts { // a very low hull keeps its centre where the profile is covered
		parts[i].CentreHeightM = math.Max(parts[i].CentreHeightM, minHeightM)
	}
	return parts, nil
}

func (p proportions) hull(loaM, beamM, freeboardM float64) []Part {
	house := p.houseHeight * loaM
	return []Part{{
		Name:          "topsides",
		FrontalAreaM2: p.hullWidth * beamM * freeboardM, LateralAreaM2: loaM * freeboardM,
		CentreHeightM: freeboardM / 2, CentreFromBowM: 0.5 * loaM, ShapeCoefficient: bluffCd,
	}, {
		Name:          "superstructure",
		FrontalAreaM2: p.houseWidth * beamM * house, LateralAreaM2: p.houseLength * loaM * house,
		CentreHeightM: freeboardM + house/2, CentreFromBowM: p.houseFromBow * loaM, ShapeCoefficient: bluffCd,
	}}
}

func (p proportions) rig(loaM, freeboardM float64) []Part {
	mast := p.mastHeight * loaM
	area := mast * mast * p.mastDiameter
	middle := freeboardM + mast/2
	at := p.mastFromBow * loaM
	parts := []Part{{"mast", area, area, middle, at, sparCd}}
	if p.rigging > 0 {
		parts = append(parts, Part{"rigging", p.rigging * area, p.rigging * area, middle, at, wireCd})
	}
	if p.furledDiameter > 0 {
		furled := mast * p.furledDiameter * loaM
		stow := p.stowHeight * loaM
		parts = append(parts,
			// the stay leans from the stem to the mast, its middle halfway between
			Part{"furled headsail", furled, furled, middle, at / 2, sparCd},
			Part{"stowed mainsail", stow * stow, p.stowLength * loaM * stow, freeboardM + 0.12*loaM, p.stowFromBow * loaM, bluffCd})
	}
	return parts
}
