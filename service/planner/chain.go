package planner

import (
	"fmt"
	"math"
	"slices"

	"rideout/service/physics/canopy"
	"rideout/service/physics/hardware"
	"rideout/service/physics/quantity"
)

// assumedCategory is the design category of a vessel that gives none: the lower demand on strong
// points is the safe side of an unknown cleat.
const assumedCategory = hardware.CategoryC

// links lists the parts from the strong point to the canopy.
func links(s ship, g rig, r rigging, gear *Gear, b *book) ([]hardware.Link, error) {
	chain, err := strongPoint(s, r.fore, b)
	if err != nil {
		return nil, err
	}
	for i := range chain {
		chain[i] = chain[i].Sharing(r.foreShare())
	}
	legs, err := r.legLinks(s, g, gear, b)
	if err != nil {
		return nil, err
	}
	chain = append(append(chain, legs...), hardware.Rode("rode", g.strength))
	if gear != nil {
		more, err := metal(*gear)
		if err != nil {
			return nil, err
		}
		chain = append(chain, more...)
	}
	shrouds, err := hardware.UnknownShroudSet("canopy shroud set", g.strength)
	if err != nil {
		return nil, err
	}
	b.assume("canopy shroud set", quantity.Exactly(shrouds.RatedN), "N", shrouds.Basis, "the maker's figure is not known: ask for it")
	return append(chain, shrouds), nil
}

// strongPoint is the link of a strong point; none where nothing can be said of it.
func strongPoint(s ship, p StrongPoint, b *book) ([]hardware.Link, error) {
	if p.WorkingLoadN > 0 {
		return []hardware.Link{hardware.StrongPoint(p.Name, p.WorkingLoadN)}, nil
	}
	if s.LOAM > 24 {
		b.warn("strong_point_unknown", "The working load of the %s is not known and no small-craft rule covers a hull of %.1f m: it is left out of the chain. Ask the builder before relying on this plan.", p.Name, s.LOAM)
		return nil, nil
	}
	category := hardware.Category(s.DesignCategory)
	if category == "" {
		category = assumedCategory
	}
	lc, err := hardware.CalculationLengthM(s.LOAM, s.hull.LWLM)
	if err != nil {
		return nil, err
	}
	duty := hardware.AnchorOrTow
	switch {
	case p.FromBowM > 0.6*s.LOAM:
		duty = hardware.AftMooring
	case p.FromBowM > 0.25*s.LOAM:
		duty = hardware.ForwardMooring
	}
	link, err := hardware.StrongPointUnknown(p.Name, duty, category, lc, s.DisplacementKg)
	if err != nil {
		return nil, err
	}
	b.assume("strength of the "+p.Name, quantity.Exactly(link.RatedN), "N", link.Basis+", design category "+string(category), "no working load given: it is what a builder must reach, not what this one bears")
	return []hardware.Link{link}, nil
}

// metal lists shackles, swivels and chain.
func metal(g Gear) ([]hardware.Link, error) {
	var chain []hardware.Link
	for i, s := range g.Shackles {
		name := numbered("shackle", i, len(g.Shackles))
		if s.WorkingLoadN > 0 {
			side, err := hardware.SideLoadFactor(s.OffLine)
			if err != nil {
				return nil, err
			}
			chain = append(chain, hardware.Link{
				Name: name, Kind: hardware.KindShackle, RatedN: side * s.WorkingLoadN,
				Rating: hardware.MetalWorkingLoad, DemandShare: 1, Basis: fmt.Sprintf("maker's working load, as given, times %.2f for the angle it is pulled at", side),
			})
			continue
		}
		l, err := hardware.Shackle(name, s.BodyMM, s.OffLine)
		if err != nil {
			return nil, err
		}
		chain = append(chain, l)
	}
	for i, s := range g.Swivels {
		chain = append(chain, hardware.Swivel(numbered("swivel", i, len(g.Swivels)), s.WorkingLoadN))
	}
	if g.Chain != nil {
		l, err := hardware.ChainOf("chain", g.Chain.SizeMM, hardware.Grade(g.Chain.Grade))
		if err != nil {
			return nil, err
		}
		chain = append(chain, l)
	}
	return chain, nil
}

// weakestN is the smallest capacity of the chain under a policy.
func weakestN(chain []hardware.Link, policy hardware.Policy) (float64, error) {
	parts, err := hardware.Chain(chain, 1, policy)
	if err != nil {
		return 0, err
	}
	least := math.Inf(1)
	for _, p := range parts {
		least = math.Min(least, 1/p.Use) // the use of 1 N
	}
	return least, nil
}

// judge holds a demand against every link, in the document's form.
func judge(chain []hardware.Link, demandN float64, policy hardware.Policy) ([]Part, error) {
	held, err := hardware.Chain(chain, demandN, policy)
	if err != nil {
		return nil, err
	}
	parts := make([]Part, len(held))
	for i, p := range held {
		parts[i] = Part{p.Name, p.CapacityN, p.DemandN, p.Use, string(p.Verdict), p.Basis, p.Governing}
	}
	return parts, nil
}

// stockRopeMM is the ladder of rope diameters a set is recommended from; sizes of the trade, no source.
var stockRopeMM = []float64{10, 12, 14, 16, 18, 20, 22, 24, 26, 28, 32, 36, 40, 44, 48}

// stockShackleMM are the bodies of shackles a set is recommended from, those of the table.
var stockShackleMM = []float64{10, 11, 13, 16, 19, 22, 25, 28, 32, 35, 38}

// stockLengthM is the ladder of rode lengths a set is recommended from.
var stockLengthM = []float64{60, 90, 120, 150, 180, 220, 260, 300, 360}

// thumbCanopy is the canopy of the rule of thumb's size, from stock.
func thumbCanopy(loaM float64) (canopy.Canopy, error) {
	d, err := canopy.ThumbDiameterM(loaM)
	if err != nil {
		return canopy.Canopy{}, err
	}
	stock := canopy.StockM()
	best := stock[len(stock)-1]
	for _, s := range slices.Backward(stock) {
		if s >= d {
			best = s
		}
	}
	return canopy.New(canopy.FlatCircular, best)
}
