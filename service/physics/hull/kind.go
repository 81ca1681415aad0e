// Package hull computes what the water does to the hull: the mass that surges with it, its drag,
// the mean force of the waves it throws back, its leeway with nothing out, and how it rolls.
//
// The vessel lies bow to the sea unless a name says beam-on; surge is along the rode.
package hull

import (
	"fmt"
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// Kind is the kind of hull, in the words of the contract. The zero value is not one.
type Kind string

// The kinds of hull.
const (
	PowerDisplacement Kind = "power_displacement"
	PowerPlaning      Kind = "power_planing"
	SailMonohull      Kind = "sail_monohull"
	SailMultihull     Kind = "sail_multihull"
	Workboat          Kind = "workboat"
)

// Kinds lists every kind, in the order of the contract.
func Kinds() []Kind {
	return []Kind{PowerDisplacement, PowerPlaning, SailMonohull, SailMultihull, Workboat}
}

// Check returns an error unless k is one of Kinds.
func (k Kind) Check() error {
	for _, known := range Kinds() {
		if k == known {
			return nil
		}
	}
	return fmt.Errorf("no hull kind %q", string(k))
}

// Sails tells whether hulls of the kind carry a mast and a keel or boards.
func (k Kind) Sails() bool { return k == SailMonohull || k == SailMultihull }

// Hull is the underwater body. Lengths in m, mass in kg, all positive. The zero value is no hull.
type Hull struct {
	Kind           Kind
	LOAM           float64 // length overall
	LWLM           float64 // waterline length
	BeamM          float64
	DraughtM       float64 // to the lowest point, keel and rudder included
	DisplacementKg float64
}

// Check returns an error unless the hull is one that can float: every size within the range of
// the formulas, the waterline no longer than the hull, and the displacement no more than the box
// of waterline length, beam and draught displaces.
func (h Hull) Check() error {
	if err := h.Kind.Check(); err != nil {
		return err
	}
	for _, c := range []struct {
		name          string
		v, least, max float64
		unit          string
	}{
		{"length overall", h.LOAM, 2, 150, "m"},
		{"waterline length", h.LWLM, 1, h.LOAM, "m"},
		{"beam", h.BeamM, 0.5, h.LOAM, "m"},
		{"draught", h.DraughtM, 0.1, 0.6 * h.LOAM, "m"},
		{"displacement", h.DisplacementKg, 50, h.BoxKg(), "kg"},
	} {
		if err := quantity.Within(c.name, c.v, c.least, c.max, c.unit); err != nil {
			return err
		}
	}
	return nil
}

// BoxKg returns the mass of sea water in the box of waterline length, beam and draught, in kg:
// the most the hull could displace.
func (h Hull) BoxKg() float64 {
	return constant.SeaWaterDensity.Value * h.LWLM * h.BeamM * h.DraughtM
}

// EstimateLWLM returns a likely waterline length for a hull whose length overall alone is known.
// The ratios are ours, from the look of boats of each kind; no source.
func EstimateLWLM(k Kind, loaM float64) float64 {
	switch k {
	case SailMonohull:
		return 0.86 * loaM
	case SailMultihull:
		return 0.96 * loaM
	case Workboat:
		return 0.90 * loaM
	default:
		return 0.92 * loaM
	}
}

// EstimateFreeboardM returns a likely mean freeboard: a small boat has more for its length.
// The law is ours, from the look of boats of each kind; no source.
func EstimateFreeboardM(k Kind, loaM float64) float64 {
	share := 0.42 // of the square root of length overall
	if k == SailMonohull || k == SailMultihull {
		share = 0.36
	}
	return share * math.Sqrt(loaM)
}

// AddedMassSurge is the share of displacement that surges along with the hull.
var AddedMassSurge = constant.Coefficient{
	Band:   quantity.Band{Low: 0.05, Mid: 0.08, High: 0.12},
	Source: "slender-body added mass in surge, 5-10 % in manoeuvring texts, from memory",
}

// AddedMassSway is the share of displacement that sways along with a hull lying beam-on.
var AddedMassSway = constant.Coefficient{
	Band:   quantity.Band{Low: 0.5, Mid: 0.8, High: 1.1},
	Source: "two-dimensional sections of beam/draught 2-4, Lewis forms, from memory",
}
