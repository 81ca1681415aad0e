package canopy

import (
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// StockM is a ladder of nominal diameters in m to choose from when no other is given. It is our
// own, in round steps, with no source: no maker's range is meant.
func StockM() []float64 {
	return []float64{1.8, 2.5, 3, 3.5, 4, 4.5, 5, 5.5, 6, 7, 8, 9, 10, 12}
}

// NeededDiameterM gives the nominal diameter in m of a canopy with drag coefficient cd0 (0.05 to
// 2.5) that holds a vessel pushed by forceN (0 to 10 MN) to a drift of driftMS (0.01 to 15 m/s):
//
//	D0 = sqrt(8 F / (pi rho Cd0 V^2))
//
// It inverts the drag law of DragN.
func NeededDiameterM(forceN, driftMS, cd0 float64) (float64, error) {
	if err := quantity.Within("force on the canopy", forceN, 0, 1e7, "N"); err != nil {
		return 0, err
	}
	if err := quantity.Within("wanted drift", driftMS, 0.01, MaxSpeedMS, "m/s"); err != nil {
		return 0, err
	}
	if err := quantity.Within("canopy drag coefficient", cd0, 0.05, 2.5, ""); err != nil {
		return 0, err
	}
	return math.Sqrt(8 * forceN / (math.Pi * constant.RhoWater * cd0 * driftMS * driftMS)), nil
}

// SmallestFor gives the smallest of the stock diameters in m that holds a vessel pushed by forceN
// to a drift of driftMS, at the middle drag coefficient of the shape. The stock may come in any
// order. When the largest is too small the error is a *quantity.RangeError with the diameter
// needed.
func SmallestFor(forceN, driftMS float64, shape Shape, stockM []float64) (float64, error) {
	c, err := shape.Coefficients()
	if err != nil {
		return 0, err
	}
	return SmallestAt(forceN, driftMS, c.Cd0.Mid, stockM)
}

// SmallestAt is SmallestFor at a drag coefficient of the caller's choice, such as the low end of
// the band for a drift that is kept in the worst case too.
func SmallestAt(forceN, driftMS, cd0 float64, stockM []float64) (float64, error) {
	needed, err := NeededDiameterM(forceN, driftMS, cd0)
	if err != nil {
		return 0, err
	}
	best, largest := math.Inf(1), 0.0
	for _, d := range stockM {
		if err := quantity.Within("stock diameter", d, MinDiameterM, MaxDiameterM, "m"); err != nil {
			return 0, err
		}
		largest = math.Max(largest, d)
		if d >= needed {
			best = math.Min(best, d)
		}
	}
	if math.IsInf(best, 1) {
		return 0, &quantity.RangeError{Name: "canopy diameter needed", Value: needed, Min: 0, Max: largest, Unit: "m"}
	}
	return best, nil
}

// ThumbDiameterM gives the rule of thumb of the trade for a single hull: a nominal diameter in m of
// 35 % of the length over all in m (3 to 60). Common practice, figure from memory: to set beside a
// computed size, never to fail on.
func ThumbDiameterM(loaM float64) (float64, error) {
	const share = 0.35
	if err := quantity.Within("length over all", loaM, 3, 60, "m"); err != nil {
		return 0, err
	}
	return share * loaM, nil
}

// UsualDiameterM gives the span in m between the smallest and the largest canopy that is usual for
// a length over all in m (9 to 18): 27-40 % of it at 9 m and 18-28 % at 18 m, linear between (the
// line between is ours). Derived from published size recommendations; for comparison only.
func UsualDiameterM(loaM float64) (low, high float64, err error) {
	const short, long = 9.0, 18.0
	if err := quantity.Within("length over all", loaM, short, long, "m"); err != nil {
		return 0, 0, err
	}
	w := (loaM - short) / (long - short)
	return loaM * (0.27 + w*(0.18-0.27)), loaM * (0.40 + w*(0.28-0.40)), nil
}
