// Package hardware holds the load on a rode against the capacity of every part it runs through,
// from the vessel's strong point to the canopy's shroud lines, and names the part that governs.
//
// A part is as good as its rating, divided by the factor the organisation's policy asks for that
// kind of rating. Ratings come from tables of working loads, from the rope's strength as used, from
// the builder, or, where nothing is known, from a rule or an assumption that says so.
package hardware

import (
	"fmt"

	"rideout/service/physics/quantity"
)

// Kind says what a part is, in the trade's word.
type Kind string

// The kinds of part in a chain from vessel to canopy.
const (
	KindStrongPoint Kind = "strong_point"
	KindRode        Kind = "rode"
	KindBridleLeg   Kind = "bridle_leg"
	KindShackle     Kind = "shackle"
	KindSwivel      Kind = "swivel"
	KindChain       Kind = "chain"
	KindShroudSet   Kind = "shroud_set"
)

// Rating says what a part's figure means, and so which factor of the policy divides it.
type Rating string

// The ratings known. The zero value is refused.
const (
	RopeBreaking      Rating = "rope_breaking"      // breaking strength of rope, as used
	MetalWorkingLoad  Rating = "metal_working_load" // working load limit of a forging or chain
	BuilderWorking    Rating = "builder_working"    // working load of a strong point, from the builder
	StrongPointByRule Rating = "strong_point_rule"  // least breaking strength of a strong point by ISO 15084
	ShroudBreaking    Rating = "shroud_breaking"    // breaking strength of the whole shroud set
)

// Policy is an organisation's factors on each rating and its threshold. The zero value is refused;
// start from DefaultPolicy. It is a value: copying and concurrent use are safe.
type Policy struct {
	RopeFactor            float64 // on rope's breaking strength as used
	MetalFactor           float64 // on working load limits
	StrongPointFactor     float64 // on the builder's working load
	StrongPointRuleFactor float64 // on the breaking strength a rule asks of a strong point
	ShroudFactor          float64 // on the shroud set's breaking strength
	MarginalAbove         float64 // use above which a part is marginal though within capacity
}

// DefaultPolicy gives the defaults: rope 3.0, metal and the builder's figures at their working
// loads, 1.25 on a strong point known only by the rule, being 1 over the 80 % that a rope may be of
// its strong point, shroud sets as rope; and marginal above 80 % use. The last three are our choice.
//
// Source of the 3.0: UFC 4-159-03 (2005) table 3-7, synthetic line, which asks it of the new line's
// strength (wet nylon less 15 %) on a quasi-static load. Here it stands on the strength as used,
// knots and wear taken off, and on the characteristic peak of a dynamic load.
func DefaultPolicy() Policy {
	return Policy{RopeFactor: 3.0, MetalFactor: 1, StrongPointFactor: 1, StrongPointRuleFactor: 1.25, ShroudFactor: 3.0, MarginalAbove: 0.8}
}

// PolicyItem is one figure of a policy with the name it is printed by.
type PolicyItem struct {
	Name  string
	Value float64
}

// Items lists the policy as it is to be printed with every answer, in a fixed order.
func (p Policy) Items() []PolicyItem {
	return []PolicyItem{
		{"factor on the breaking strength of rope as used", p.RopeFactor},
		{"factor on the working load of shackles, swivels and chain", p.MetalFactor},
		{"factor on the builder's working load of a strong point", p.StrongPointFactor},
		{"factor on the strength a rule asks of a strong point", p.StrongPointRuleFactor},
		{"factor on the breaking strength of the shroud set", p.ShroudFactor},
		{"use above which a part is called marginal", p.MarginalAbove},
	}
}

// Check refuses factors outside 1 to 20 and a threshold outside 0.1 to 1.
func (p Policy) Check() error {
	items := p.Items()
	for _, f := range items[:len(items)-1] {
		if err := quantity.Within(f.Name, f.Value, 1, 20, ""); err != nil {
			return err
		}
	}
	last := items[len(items)-1]
	return quantity.Within(last.Name, last.Value, 0.1, 1, "")
}

// factor gives the divisor for a rating and how to print it.
func (p Policy) factor(r Rating) (PolicyItem, error) {
	items := p.Items()
	switch r {
	case RopeBreaking:
		return items[0], nil
	case MetalWorkingLoad:
		return items[1], nil
	case BuilderWorking:
		return items[2], nil
	case StrongPointByRule:
		return items[3], nil
	case ShroudBreaking:
		return items[4], nil
	}
	return PolicyItem{}, fmt.Errorf("no factor for a rating called %q", string(r))
}
