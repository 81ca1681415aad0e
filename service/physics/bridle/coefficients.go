package bridle

import (
	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// CentreOfResistance is where the water's resistance to being dragged sideways bears, in waterline lengths
// aft of the waterline's fore end.
var CentreOfResistance = constant.Coefficient{
	Band:   quantity.Band{Low: 0.45, Mid: 0.50, High: 0.55},
	Source: "our assumption: the middle of the waterline, a twentieth either way for trim, keel and deadwood; no source",
}

// MunkShare is the part of the ideal fluid's moment, (sway - surge added mass) u v, that turns a hull
// moving askew beam-on to her way. The measured shares are of ships going ahead; astern, with keel
// and rudder at the leading end, more of it is left, hence the whole of it as the high end.
var MunkShare = constant.Coefficient{
	Band: quantity.Band{Low: 0.37, Mid: 0.68, High: 1},
	Source: "Nv over the difference of added masses, ships going ahead: low, Chislett and Stroem-Tejsen (1965), Mariner class; " +
		"mid, Yasukawa and Yoshimura (2015), tanker KVLCC2; both as quoted in open ship simulators; high, ideal fluid",
}

// WindCentreShift is how far the wind's lateral force moves forward of its place abeam, in lengths for each
// radian the wind comes forward of abeam.
var WindCentreShift = constant.Coefficient{
	Band: quantity.Band{Low: 0.09, Mid: 0.18, High: 0.27},
	Source: "mid, Blendermann (1994), wind loads on ships, CN = CY [sL/Loa - .18 (gamma - pi/2)], as quoted in an open library " +
		"of marine craft models; half of it either way is our spread, for boats are not ships",
}

// YawLimit is how far off the wind the bow may lie before a canopy counts as too small to keep it up.
var YawLimit = constant.Value{
	Value: 45, Unit: "deg",
	Source: "our choice: beyond it a breaking crest meets more of the side than of the bow; no source",
}

// GustShift is the shift of wind, sea unchanged, the yaw limit is held in.
var GustShift = constant.Value{Value: 20, Unit: "deg", Source: "our choice, about the swing of direction in squalls; no source"}

// Tendency says at which ends of their bands the coefficients above are taken. The drag areas of hull
// and canopy and the windage are not in it: they are the caller's.
type Tendency int

// The tendencies. The zero value is the middle of every band.
const (
	Likely  Tendency = iota
	BowUp            // every coefficient at the end that holds the bow to the wind
	BowAway          // every coefficient at the end that lets it fall off
)

// of picks the value for the tendency; low is the end that holds the bow up in all three bands.
func (t Tendency) of(c constant.Coefficient) float64 {
	switch t {
	case BowUp:
		return c.Low
	case BowAway:
		return c.High
	default:
		return c.Mid
	}
}
