package hardware

import (
	"fmt"
	"math"
	"strings"

	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
)

// Rode is the link of the rode, eye and knot included, by its strength as used. The low end of the
// strength counts, as capacity is to be there at the worst.
func Rode(name string, strength rode.Strength) Link {
	return Link{name, KindRode, strength.AsUsedN.Low, RopeBreaking, 1, strengthBasis(strength)}
}

// BridleLeg is the link of one of two equal bridle legs at a half angle (0 to 80 degrees) between
// leg and rode, by the strength as used of its rope.
func BridleLeg(name string, strength rode.Strength, halfAngle quantity.Angle) (Link, error) {
	share, err := LegShare(halfAngle)
	if err != nil {
		return Link{}, err
	}
	basis := fmt.Sprintf("%s; carries %.3f of the rode's load", strengthBasis(strength), share)
	return Link{name, KindBridleLeg, strength.AsUsedN.Low, RopeBreaking, share, basis}, nil
}

func strengthBasis(s rode.Strength) string {
	var b strings.Builder
	fmt.Fprintf(&b, "breaking strength %.0f N new (%s)", s.NewN.Low, s.NewSource)
	for _, f := range s.Factors {
		fmt.Fprintf(&b, " x %.2f %s", f.Value.Low, strings.ReplaceAll(f.Name, "_", " "))
	}
	return b.String()
}

// LegShare gives the load of each of two equal bridle legs over that of the rode, by the angle
// between a leg and the rode's line (0 to 80 degrees):
//
//	share = 1/(2 cos a)
//
// Statics of three forces at a point; legs without weight or stretch.
func LegShare(halfAngle quantity.Angle) (float64, error) {
	if err := quantity.Within("bridle half angle", halfAngle.Degrees(), 0, 80+1e-9, "deg"); err != nil {
		return 0, err
	}
	return 1 / (2 * math.Cos(halfAngle.Radians())), nil
}

// Shrouds are the lines from the canopy's skirt to the point where the rode is made fast. The zero
// value is unknown.
type Shrouds struct {
	Lines         int           // number of lines, 4 to 200
	LineBreakingN float64       // breaking strength of one, new, N
	Efficiency    quantity.Band // share of the sum the set bears; zero for ShroudEfficiency
}

// ShroudEfficiency is the share of the sum of its lines a shroud set bears, after seams, knots, wet
// and uneven sharing. No figure was found: our assumption, to be replaced by the maker's.
func ShroudEfficiency() quantity.Band { return quantity.Band{Low: 0.5, Mid: 0.65, High: 0.8} }

const assumedEfficiency = "assumption: no figure found for the efficiency of a shroud set"

// ShroudSet is the link of a shroud set: lines times strength times the low end of the efficiency.
func ShroudSet(name string, s Shrouds) (Link, error) {
	if err := quantity.Within("number of shroud lines", float64(s.Lines), 4, 200, ""); err != nil {
		return Link{}, err
	}
	if err := quantity.Within("strength of a shroud line", s.LineBreakingN, 1, 1e7, "N"); err != nil {
		return Link{}, err
	}
	source := "efficiency as given"
	if s.Efficiency == (quantity.Band{}) {
		s.Efficiency, source = ShroudEfficiency(), assumedEfficiency
	}
	if err := quantity.Within("efficiency of the shroud set", s.Efficiency.Low, 0.05, 1, ""); err != nil {
		return Link{}, err
	}
	basis := fmt.Sprintf("%d lines x %.0f N x %.2f (%s)", s.Lines, s.LineBreakingN, s.Efficiency.Low, source)
	return Link{name, KindShroudSet, float64(s.Lines) * s.LineBreakingN * s.Efficiency.Low, ShroudBreaking, 1, basis}, nil
}

// UnknownShroudSet is the link of a shroud set nothing is known of. It is assumed as strong as the
// wet rode it is used with, knots left aside, and its basis says so, so that the reader asks the
// maker.
func UnknownShroudSet(name string, strength rode.Strength) (Link, error) {
	wet, err := rode.Derate(strength.NewN, strength.NewSource, nil, rode.Condition{})
	if err != nil {
		return Link{}, err
	}
	return Link{name, KindShroudSet, wet.AsUsedN.Low, ShroudBreaking, 1, "assumption: nothing known of the shroud lines, taken as strong as the wet rode; ask the maker"}, nil
}
