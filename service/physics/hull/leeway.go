package hull

import (
	"math"

	"rideout/service/physics/quantity"
)

// LeewayClass is a row of the leeway table: how fast a craft with no sea anchor is blown along.
// Slopes are shares of the 10 m wind, downwind and, on either side of it, across; offsets and deviations in m/s.
type LeewayClass struct {
	Name                   string
	Slope, OffsetMS, StdMS float64
	CrossSlope             float64 // the mean of both sides
}

// LeewaySource is the table the classes come from.
const LeewaySource = "leeway table of A. Allen (USCG, 2010; Allen and Plourde 1999), list of 2011 by O. Breivik"

var (
	sailBarePoles  = LeewayClass{"sailing bare poles average", 0.0523, 0, 0.1852, 0.0599}
	sportNoCanvas  = LeewayClass{"sport boat no canvas", 0.0654, 0, 0.0300, 0.0219}
	sportFisher    = LeewayClass{"sport fisher centre console", 0.0555, 0, 0.0330, 0.0227}
	fishingGeneral = LeewayClass{"fishing vessel general", 0.0247, 0, 0.120, 0.0276}
)

// Leeway returns the class of the table that is nearest to hulls of the kind lying with nothing out.
//
// Multihulls and displacement motor yachts have no row. A motor yacht shows two to three times as much side above the
// water as below it, which by the balance of wind and water drag gives some 6 % of the wind; the fishing vessels of the
// table are deep and go at 2.5 %, so the sport fisher's row is the nearer. For a workboat, low and deep, theirs is.
func Leeway(k Kind) LeewayClass {
	switch k {
	case SailMonohull, SailMultihull:
		return sailBarePoles
	case PowerPlaning:
		return sportNoCanvas
	case PowerDisplacement:
		return sportFisher
	default:
		return fishingGeneral
	}
}

// Drift returns the downwind drift in m/s in a 10 m wind in m/s: the regression and two of its
// standard deviations to either side, never less than zero.
func (c LeewayClass) Drift(windMS float64) quantity.Band {
	mid := c.Slope*windMS + c.OffsetMS
	return quantity.Band{Low: max(0, mid-2*c.StdMS), Mid: mid, High: mid + 2*c.StdMS}
}

// Divergence is the angle off the wind at which craft of the class drift to one side or the other.
func (c LeewayClass) Divergence() quantity.Angle {
	return quantity.Angle(math.Atan2(c.CrossSlope, c.Slope))
}
