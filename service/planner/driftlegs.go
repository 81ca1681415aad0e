package planner

import (
	"math"
	"slices"
	"time"

	"rideout/service/physics/drift"
	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/physics/seaway"
)

// Choices about the drift that are ours.
const (
	windCurrentShare   = 0.015 // of the wind, in the water the canopy lies in, where no current is given
	windCurrentTurnDeg = 20.0  // to the right of the wind in the north, to the left in the south
	canopyDivergence   = 10.0  // degrees she runs off to either side, lying to a canopy
)

// fiveInHundred is the deviations beyond which 5 % of a normal distribution lie, to either side: a drift's band.
const fiveInHundred = 1.645

// Ways of lying, as the drift tells them apart.
const (
	toCanopy   = 0
	nothingOut = 1
)

// legsToCanopy are the hours of the forecast as they carry her lying to the canopy, and what the
// current used contains.
func (c *computation) legsToCanopy() ([]DriftLeg, string, error) {
	offset, err := c.offDownwind()
	if err != nil {
		return nil, "", err
	}
	froms := windFroms(c.hours)
	legs, given := make([]DriftLeg, len(c.hours)), 0
	for i, h := range c.hours {
		x, err := newSituation(c.ship, c.rig, c.request.Assume, h)
		if err != nil {
			return nil, "", err
		}
		speed, err := x.driftKt(c.paid(c.spellOf(h)))
		if err != nil {
			return nil, "", err
		}
		if h.currentToward != nil {
			given++
		}
		east, north, err := c.waterMS(x, froms[i])
		if err != nil {
			return nil, "", err
		}
		legs[i] = DriftLeg{
			From: h.at, Hours: h.hours, TowardDeg: r1(turned(froms[i] + math.Pi + offset.Radians())), SpeedKt: each(speed, r3),
			CurrentKt: r3(quantity.Knots(math.Hypot(east, north))), CurrentDeg: r1(turned(math.Atan2(east, north))),
		}
	}
	return legs, c.noteCurrent(given), nil
}

func (c *computation) noteCurrent(given int) string {
	n := len(c.hours)
	if given < n {
		c.book.assume("wind-driven current in the water the canopy lies in", quantity.Band{Low: 0, Mid: windCurrentShare, High: 0.03}, "of the wind", "our choice: about 3 % at the surface, less below, from memory; turned 20 degrees by the Coriolis force", plural(n-given, n)+" of the forecast gives no current: the mean drift of the waves at the canopy is added, the tide is not in it")
	}
	switch given {
	case n:
		return "the current given, taken to contain tide, wind-driven current and the mean drift of the waves"
	case 0:
		return "no current given: wind-driven current and the mean drift of the waves at the canopy are estimated; tidal streams are not in it"
	}
	return "the current given where it is, taken as all of it; elsewhere wind-driven current and the mean drift of the waves are estimated, without tidal streams"
}

// waterMS is how the water goes that the canopy lies in, m/s east and north.
func (c *computation) waterMS(x situation, windFrom float64) (east, north float64, err error) {
	h := x.hour
	if h.currentToward != nil {
		a := h.currentToward.Radians()
		return h.currentMS * math.Sin(a), h.currentMS * math.Cos(a), nil
	}
	turn := quantity.Degrees(windCurrentTurnDeg).Radians()
	if c.request.Position.LatitudeDeg < 0 {
		turn = -turn
	}
	a := windFrom + math.Pi + turn
	east, north = windCurrentShare*h.windMS*math.Sin(a), windCurrentShare*h.windMS*math.Cos(a)
	if x.flat {
		return east, north, nil
	}
	stokes, err := seaway.StokesDrift(x.screened, x.depthM)
	if err != nil {
		return 0, 0, err
	}
	toward := windFrom + math.Pi
	if h.waveFrom != nil {
		toward = h.waveFrom.Radians() + math.Pi
	}
	return east + stokes*math.Sin(toward), north + stokes*math.Cos(toward), nil
}

// offDownwind is how far from straight downwind she goes: a hull held askew is pushed aside.
func (c *computation) offDownwind() (quantity.Angle, error) {
	sum, err := c.rigging.lying.Loads(c.rigging.at.Heading)
	if err != nil {
		return 0, err
	}
	return sum.RodeLeads - c.rigging.at.Heading, nil
}

// spellOf is the index of the phase an hour belongs to.
func (c *computation) spellOf(h hour) int {
	return slices.IndexFunc(c.spells, func(s spell) bool { return s.class == classOf(h) })
}

// windFroms are the directions of the wind, in radians; one that is missing is its nearest neighbour's.
// The forecast has at least one.
func windFroms(hours []hour) []float64 {
	froms := make([]float64, len(hours))
	for i := range hours {
		best := -1
		for j, h := range hours {
			if h.windFrom != nil && (best < 0 || apart(i, j) < apart(i, best)) {
				best = j
			}
		}
		froms[i] = hours[best].windFrom.Radians()
	}
	return froms
}

func apart(i, j int) int { return max(i-j, j-i) }

// legsAdrift are the same hours with nothing out, by the leeway class of her kind of hull.
func (c *computation) legsAdrift(canopy []DriftLeg) ([]DriftLeg, hull.LeewayClass) {
	class := hull.Leeway(c.ship.Hull)
	froms := windFroms(c.hours)
	legs := slices.Clone(canopy)
	for i, h := range c.hours {
		d := class.Drift(h.windMS)
		d.Low, d.High = math.Max(0, d.Mid-fiveInHundred*class.StdMS), d.Mid+fiveInHundred*class.StdMS
		legs[i].TowardDeg = r1(turned(froms[i] + math.Pi))
		legs[i].SpeedKt = each(d.Scale(quantity.Knots(1)), r3)
	}
	return legs, class
}

// spansOf are legs as the drift takes them.
func spansOf(legs []DriftLeg, divergence quantity.Angle, mode int) []drift.Span {
	spans := make([]drift.Span, len(legs))
	for i, l := range legs {
		ms, a := quantity.MetresPerSecond(l.CurrentKt), quantity.Degrees(l.CurrentDeg).Radians()
		spans[i] = drift.Span{
			Hours: l.Hours, Toward: quantity.Degrees(l.TowardDeg), SpeedMS: l.SpeedKt.Scale(quantity.MetresPerSecond(1)),
			Divergence: divergence, CurrentEastMS: ms * math.Sin(a), CurrentNorthMS: ms * math.Cos(a), Mode: mode,
		}
	}
	return spans
}

// turned brings an angle in radians to degrees from 0 to 360.
func turned(rad float64) float64 {
	deg := math.Mod(rad*180/math.Pi, 360)
	if deg < 0 {
		deg += 360
	}
	return deg
}

// after is an instant so many hours after another.
func after(t time.Time, hours float64) time.Time {
	return t.Add(time.Duration(math.Round(hours*3600)) * time.Second)
}
