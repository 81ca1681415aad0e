package motion

import (
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// CrestSpeedShare is the share of a breaking crest's speed that a strike gives the hull.
var CrestSpeedShare = constant.Coefficient{
	Band:   quantity.Band{Low: 0.2, Mid: 0.4, High: 0.6},
	Source: "our assumption: a bow held up to the sea is thrown back with part of the crest's speed; USCG CG-D-20-87 takes the whole of it for a boat struck from astern",
}

// strikeS is how long after a strike the rode is watched: several swings of the longest rode.
const strikeS = 60.0

// CrestStrike returns the greatest tension in N after a breaking crest has thrown the hull back
// with speedMS (0 to 40) through still water from the steady state: the rode, and the canopy's
// yielding, take up the energy. With a canopy that does not yield and a linear rode it is the snap load
// v sqrt(k m).
func (g *Integrator) CrestStrike(s System, speedMS float64) (float64, error) {
	if err := quantity.Within("speed of the strike", speedMS, 0, 40, "m/s"); err != nil {
		return 0, err
	}
	steady, err := s.Steady()
	if err != nil {
		return 0, err
	}
	start := steady.Start()
	start.HullMS += speedMS
	trace, err := g.Run(s, start, Water{}, 0, strikeS, StepS/4)
	if err != nil {
		return 0, err
	}
	peak := 0.0
	for _, t := range trace.TensionN {
		peak = math.Max(peak, t)
	}
	return peak, nil
}

// CrestSpeedMS returns the speed in m/s of the crest of a deep-water wave of a period in s: g T/(2 pi).
func CrestSpeedMS(periodS float64) float64 { return constant.G * periodS / (2 * math.Pi) }
