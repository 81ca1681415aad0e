package canopy

import "rideout/service/physics/quantity"

// StockM is a ladder of nominal diameters in m to choose from when no other is given. It is our
// own, in round steps, with no source: no maker's range is meant.
func StockM() []float64 {
	return []float64{1.8, 2.5, 3, 3.5, 4, 4.5, 5, 5.5, 6, 7, 8, 9, 10, 12}
}

// ThumbDiameterM gives the rule of thumb of the trade for a single hull: a nominal diameter in m of
// 35 % of the length overall in m (3 to 60). Common practice, figure from memory: to set beside a
// computed size, never to fail on.
func ThumbDiameterM(loaM float64) (float64, error) {
	const share = 0.35
	if err := quantity.Within("length overall", loaM, 3, 60, "m"); err != nil {
		return 0, err
	}
	return share * loaM, nil
}

// UsualDiameterM gives the span in m between the smallest and the largest canopy that is usual for
// a length overall in m (9 to 18): 27-40 % of it at 9 m and 18-28 % at 18 m, linear between (the
// line between is ours). Derived from published size recommendations; for comparison only.
func UsualDiameterM(loaM float64) (low, high float64, err error) {
	const short, long = 9.0, 18.0
	if err := quantity.Within("length overall", loaM, short, long, "m"); err != nil {
		return 0, 0, err
	}
	w := (loaM - short) / (long - short)
	return loaM * (0.27 + w*(0.18-0.27)), loaM * (0.40 + w*(0.28-0.40)), nil
}
