package bridle

import (
	"math"

	"rideout/service/physics/quantity"
)

// Yawing is how far off the wind, to either side, she lies on one strong point, in degrees; the bands
// run over the tendencies.
type Yawing struct {
	AtRestDeg quantity.Band
	AtMostDeg quantity.Band // at rest, or after the wind has shifted by GustShift either way and the sea has not
}

// Yaw returns how far off the wind she lies on a rode from one point. Hold AtMostDeg against YawLimit to tell
// whether a canopy keeps the bow up: on a small one she drifts faster, and the moment of the water, which
// turns her beam-on, grows with the square of the drift while that of the wind stays. Statics alone: what
// waves and inertia add is not in it, so a canopy that passes may still let her sheer about.
func (y Lying) Yaw(at Point) (Yawing, error) {
	var rest, most [3]float64
	for i, t := range []Tendency{BowUp, Likely, BowAway} {
		y.Tendency = t
		var err error
		if rest[i], most[i], err = y.widest(Plain(at)); err != nil {
			return Yawing{}, err
		}
	}
	return Yawing{quantity.BandOf(rest[0], rest[1], rest[2]), quantity.BandOf(most[0], most[1], most[2])}, nil
}

// widest is the greatest angle off the wind at rest and after shifts, in degrees, begun on either bow.
func (y Lying) widest(l Legs) (rest, most float64, err error) {
	for _, side := range []float64{-1, 1} {
		still, err := y.Settle(l, quantity.Degrees(side))
		if err != nil {
			return 0, 0, err
		}
		rest = math.Max(rest, math.Abs(still.Heading.Degrees()))
		for _, shift := range []float64{-GustShift.Value, GustShift.Value} {
			e, err := y.AfterShift(l, still.Heading, quantity.Degrees(shift))
			if err != nil {
				return 0, 0, err
			}
			most = math.Max(most, math.Abs(e.Heading.Degrees()))
		}
	}
	return rest, math.Max(rest, most), nil
}
