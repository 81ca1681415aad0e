package planner

import (
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/drift"
	"rideout/service/physics/quantity"
)

// noteSpread prints the errors the particles were given.
func (c *computation) noteSpread() {
	s := drift.DefaultSpread()
	const why = "spreads the particles of the drift"
	b := &c.book
	b.assumeCoefficient("error of the forecast wind, at first", s.WindShare.First, "of it", why)
	b.assumeCoefficient("error of the forecast wind, after three days", s.WindShare.Last, "of it", why)
	b.assumeCoefficient("error of the wind's direction, at first", inDegrees(s.WindDirection.First), "deg", why)
	b.assumeCoefficient("error of the wind's direction, after three days", inDegrees(s.WindDirection.Last), "deg", why)
	b.assumeCoefficient("how long an error of the wind lasts", s.WindScaleH, "h", why)
	b.assumeCoefficient("error of the current, each component", s.CurrentMS, "m/s", why)
	b.assumeCoefficient("error of the position, half within", s.PositionM, "m", why)
	b.assume("how far she runs off downwind on the canopy", quantity.Band{Low: 0, Mid: canopyDivergence / 2, High: canopyDivergence}, "deg", "our choice", why)
	b.assume("time help takes to come", quantity.Exactly(helpTakesH), "h", "our choice: ask the rescue service", "sets the latest hour to call")
}

// workSeaRoom writes the drift of the first leg and the sum of all, so that it can be followed by hand.
func (c *computation) workSeaRoom(room SeaRoom) {
	b, east, north := &c.book, 0.0, 0.0
	for _, l := range room.Legs {
		way, a := l.SpeedKt.Mid*l.Hours, quantity.Degrees(l.TowardDeg).Radians()
		set, ca := l.CurrentKt*l.Hours, quantity.Degrees(l.CurrentDeg).Radians()
		east, north = east+way*math.Sin(a)+set*math.Sin(ca), north+way*math.Cos(a)+set*math.Cos(ca)
	}
	l := room.Legs[0]
	b.work("sea room", "Way of the first step", "speed x hours toward, and current x hours toward", "dead reckoning",
		val("t", "hours of the step", l.Hours, "h"), val("v", "drift through the water", l.SpeedKt.Mid, "kt"), val("toward", "its direction", l.TowardDeg, "deg"),
		val("c", "current", l.CurrentKt, "kt"), val("set", "its direction", l.CurrentDeg, "deg"),
		result("way", "through the water", l.SpeedKt.Mid*l.Hours, "nmi"), result("drift", "with the water", l.CurrentKt*l.Hours, "nmi"))
	b.work("sea room", "Middle track over the forecast, plane sum", "sum of the steps' ways", "dead reckoning; the answer's track is reckoned on the WGS 84 ellipsoid",
		result("E", "made good to the east", east, "nmi"), result("N", "made good to the north", north, "nmi"), result("D", "made good", math.Hypot(east, north), "nmi"), result("course", "made good", turned(math.Atan2(east, north)), "deg"))
	p := room.ProbabilityAshore
	b.work("sea room", "Probability of a shore or hazard", "share of the particles that cross a line of shore or hazard", "Monte-Carlo; standard error sqrt(p (1 - p)/n)",
		val("n", "particles", float64(room.Particles), ""), result("p", "share ashore", p, ""), result("se", "its standard error", math.Sqrt(p*(1-p)/float64(room.Particles)), ""))
}

// inDegrees is a coefficient in radians as it is printed.
func inDegrees(c constant.Coefficient) constant.Coefficient {
	return constant.Coefficient{Band: each(c.Band.Scale(180/math.Pi), r1), Source: c.Source}
}
