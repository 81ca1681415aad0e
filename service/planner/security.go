package planner

import (
	"fmt"
	"math"
	"strings"

	"rideout/service/physics/quantity"
)

// securite is the safety message to read out: the form after the ITU Radio Regulations, article 33,
// from memory. A value that was not given is named with where it is found.
func (c *computation) securite() string {
	v := c.request.Vessel
	lying := c.lyingPhase()
	var b strings.Builder
	fmt.Fprintf(&b, "SECURITE, SECURITE, SECURITE. ALL STATIONS, ALL STATIONS, ALL STATIONS. THIS IS %s. CALL SIGN %s. MMSI %s. ",
		strings.Join([]string{v.Name, v.Name, v.Name}, ", "), or(v.CallSign, "[give it from the radio licence]"), or(v.MMSI, "[give it from the radio licence]"))
	fmt.Fprintf(&b, "POSITION %s. ", positionText(c.request.Position))
	fmt.Fprintf(&b, "I AM A VESSEL OF %.0f METRES LYING TO A SEA ANCHOR ON %.0f METRES OF LINE TO WINDWARD. ", v.LOAM, c.timetable.payOutM)
	fmt.Fprintf(&b, "MY DRIFT IS ABOUT %s, NOW AND UNTIL FURTHER NOTICE. ", c.driftText(lying))
	b.WriteString("MY ABILITY TO MANOEUVRE IS LIMITED. VESSELS ARE ASKED TO KEEP CLEAR BY ONE MILE AND NOT TO CROSS TO WINDWARD OF ME. LISTENING ON CHANNEL 16. OUT.")
	return b.String()
}

func or(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}

// lyingPhase is the phase she begins to lie in.
func (c *computation) lyingPhase() Phase {
	from := c.timetable.settle.From
	for _, s := range c.stretches(from, later(c.timetable.course.ends, from.Add(1))) {
		return c.plan.Phases[s.phase]
	}
	return c.plan.Phases[c.worst]
}

// positionText is a position as it is read out, to a tenth of a minute.
func positionText(p *Position) string {
	if p == nil {
		return "[give it from the log]"
	}
	return minutes(p.LatitudeDeg, 2, "NORTH", "SOUTH") + ", " + minutes(p.LongitudeDeg, 3, "EAST", "WEST") + " [correct it from the log, and give the time in UTC]"
}

func minutes(deg float64, digits int, positive, negative string) string {
	side := positive
	if deg < 0 {
		side = negative
	}
	tenths := int(math.Round(math.Abs(deg) * 600)) // of a minute
	return fmt.Sprintf("%0*d DEGREES %02d.%d MINUTES %s", digits, tenths/600, tenths%600/10, tenths%10, side)
}

// driftText is the drift over the ground: downwind through the water at the phase's middle speed, and the current.
func (c *computation) driftText(p Phase) string {
	t := c.timetable
	h := c.hours[0]
	for _, next := range c.hours {
		if !next.at.After(t.settle.From) {
			h = next
		}
	}
	kt := p.Loads.DriftKt.Mid
	if h.windFrom == nil || h.currentMS > 0 && h.currentToward == nil {
		return fmt.Sprintf("%.1f KNOTS, TOWARD [give it from the log]", kt)
	}
	down := float64(*h.windFrom) + math.Pi
	north, east := kt*math.Cos(down), kt*math.Sin(down)
	if h.currentToward != nil {
		set := float64(*h.currentToward)
		north += quantity.Knots(h.currentMS) * math.Cos(set)
		east += quantity.Knots(h.currentMS) * math.Sin(set)
	}
	toward := math.Mod(math.Round(quantity.Angle(math.Atan2(east, north)).Normalised().Degrees()), 360)
	return fmt.Sprintf("%.1f KNOTS TOWARD %03.0f DEGREES TRUE", math.Hypot(north, east), toward)
}
