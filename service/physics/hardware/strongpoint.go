package hardware

import (
	"fmt"
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// StrongPointSource is printed with an answer.
const StrongPointSource = "ISO 15084:2003, least strength of strong points; constants from memory, agreeing with the figures of a published owner's manual"

// Duty is what a strong point was fitted for.
type Duty string

// The duties of ISO 15084.
const (
	AnchorOrTow    Duty = "anchor_or_tow" // forward, anchoring and being towed
	ForwardMooring Duty = "forward_mooring"
	AftMooring     Duty = "aft_mooring"
)

// Category is a design category of small craft (ISO 12217), "A" (ocean) to "D" (sheltered).
type Category string

// The design categories.
const (
	CategoryA Category = "A"
	CategoryB Category = "B"
	CategoryC Category = "C"
	CategoryD Category = "D"
)

// CalculationLengthM gives LC in m, the mean of the hull's length and of its waterline loaded, both
// in m (2.5 to 24, waterline no longer than hull). It is our reading of a class society's guidance
// that repeats the standard, whose text is damaged in the copy read.
func CalculationLengthM(hullM, waterlineM float64) (float64, error) {
	if err := quantity.Within("hull length", hullM, 2.5, 24, "m"); err != nil {
		return 0, err
	}
	if err := quantity.Within("waterline length", waterlineM, 1, hullM, "m"); err != nil {
		return 0, err
	}
	return (hullM + waterlineM) / 2, nil
}

// StrongPointN gives the horizontal load in N a strong point must at least bear without failing, by
// duty, design category, calculation length LC in m (2.5 to 24) and the mass of the craft loaded in
// kg:
//
//	anchor or tow    P = f (4.3 LC - 5.4) kN
//	forward mooring  P = f (3.5 LC - 4.3) kN
//	aft mooring      P = f (3.0 LC - 3.8) kN
//
// with f 1 for categories A and B, 0.9 for C, 0.75 for D; never more than the craft's loaded
// weight. It is what a builder must reach, not what a certain cleat bears: an estimate where the
// builder's figure is not known. Craft beyond 24 m are outside the standard. Source:
// StrongPointSource.
func StrongPointN(duty Duty, category Category, calculationM, loadedKg float64) (float64, error) {
	if err := quantity.Within("calculation length", calculationM, 2.5, 24, "m"); err != nil {
		return 0, err
	}
	if err := quantity.Within("loaded mass", loadedKg, 50, 1e6, "kg"); err != nil {
		return 0, err
	}
	var f float64
	switch category {
	case CategoryA, CategoryB:
		f = 1
	case CategoryC:
		f = 0.9
	case CategoryD:
		f = 0.75
	default:
		return 0, fmt.Errorf("no strong point rule for design category %q", string(category))
	}
	var kn float64
	switch lc := calculationM; duty {
	case AnchorOrTow:
		kn = f * (4.3*lc - 5.4)
	case ForwardMooring:
		kn = f * (3.5*lc - 4.3)
	case AftMooring:
		kn = f * (3.0*lc - 3.8)
	default:
		return 0, fmt.Errorf("no strong point rule for duty %q", string(duty))
	}
	return math.Min(1000*kn, loadedKg*constant.G), nil
}

// StrongPoint is the link of a cleat, bitt or chain plate by the builder's working load in N.
func StrongPoint(name string, workingLoadN float64) Link {
	return Link{name, KindStrongPoint, workingLoadN, BuilderWorking, 1, "working load as given by the builder"}
}

// StrongPointUnknown is the link of a strong point whose working load is not known, by
// StrongPointN.
func StrongPointUnknown(name string, duty Duty, category Category, calculationM, loadedKg float64) (Link, error) {
	n, err := StrongPointN(duty, category, calculationM, loadedKg)
	if err != nil {
		return Link{}, err
	}
	return Link{name, KindStrongPoint, n, StrongPointByRule, 1, "assumption: builder's figure not known; " + StrongPointSource}, nil
}

// RopeOnStrongPoint gives the breaking strength of a rope in N over that of the strong point it is
// made fast to, and whether that is within the 80 % that lets the rope part before the deck does.
// Source: a published owner's manual.
func RopeOnStrongPoint(ropeBreakingN, strongPointBreakingN float64) (share float64, within bool, err error) {
	const most = 0.80
	if err := quantity.Within("breaking strength of the rope", ropeBreakingN, 1, 1e8, "N"); err != nil {
		return 0, false, err
	}
	if err := quantity.Within("breaking strength of the strong point", strongPointBreakingN, 1, 1e8, "N"); err != nil {
		return 0, false, err
	}
	share = ropeBreakingN / strongPointBreakingN
	return share, share <= most, nil
}
