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
