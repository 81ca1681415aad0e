package drift

import (
	"math"

	"rideout/service/physics/quantity"
)

// ProbableErrorM returns the total probable error of position in m that a rescue service's worksheet would take: the
// radius of the circle that holds her with a chance of one half,
//
//	E2 = X2 + Y2 + De2,  De = hours sqrt(LWe2 + TWCe2)
//
// from the errors of her first position X and of the searching craft Y in m, the hours of drift, and the probable errors of
// leeway LWe and total water current TWCe in m/s, all at least 0. To set beside the particles' areas:
// it takes the errors as lasting, so it grows as the time does.
//
// Source: IAMSAR manual, volume II, the appendix with the worksheets; second-hand.
func ProbableErrorM(firstM, searcherM, hours, leewayErrorMS, currentErrorMS float64) (float64, error) {
	for _, c := range []struct {
		name string
		v    float64
		unit string
	}{
		{"error of the first position", firstM, "m"},
		{"error of the searching craft", searcherM, "m"},
		{"hours of drift", hours, "h"},
		{"error of the leeway", leewayErrorMS, "m/s"},
		{"error of the current", currentErrorMS, "m/s"},
	} {
		if err := quantity.Within(c.name, c.v, 0, 1e9, c.unit); err != nil {
			return 0, err
		}
	}
	x, y := firstM, searcherM
	de := hours * secondsPerHour * math.Hypot(leewayErrorMS, currentErrorMS)
	return math.Sqrt(x*x + y*y + de*de), nil
}

// CircularRadiusM returns the radius in m that holds a share (0 to 1, less than 1) of a circular normal
// distribution, from the radius in m that holds a half of it:
//
//	R = E sqrt(ln(1 - share)/ln(1/2))
func CircularRadiusM(halfM, share float64) (float64, error) {
	if err := quantity.Within("radius that holds a half", halfM, 0, math.MaxFloat64, "m"); err != nil {
		return 0, err
	}
	if err := quantity.Within("share held", share, 0, 1-1e-15, ""); err != nil {
		return 0, err
	}
	return halfM * math.Sqrt(math.Log1p(-share)/-math.Ln2), nil
}
