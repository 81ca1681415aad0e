package figure

import (
	"math"

	"rideout/api/page/drawing"
	"rideout/api/page/measure"
	"rideout/service/planner"
)

// legs is how the rode is made fast, in metres about the stem: x to windward, y to the left looking to
// windward.
type legs struct {
	heading       float64 // of the bow, rad to the left of the wind's eye
	fore, aft     planner.StrongPoint
	meets         [2]float64
	aheadM        float64 // of the stem, along her or to windward, to where the legs meet
	known, square bool
}

func (l legs) two() bool { return l.known && l.aft.Name != "" }

// legsOf finds where the legs meet, from their lengths and the points they are made fast to.
func legsOf(s Subject) legs {
	b := s.Plan.Bridle
	if b == nil {
		return legs{}
	}
	l := legs{known: true, square: b.Arrangement == "square", fore: pointNamed(s.Request.Vessel, b.BowPoint)}
	turn := b.HeadingDeg * math.Pi / 180
	switch b.Side {
	case "port": // the wind's eye stands to port of the bow
		l.heading = -turn
	case "starboard":
		l.heading = turn
	}
	f := l.fixed(l.fore)
	l.meets = f
	if b.AftPoint != "" {
		l.aft = pointNamed(s.Request.Vessel, b.AftPoint)
		l.meets = apex(f, l.fixed(l.aft), b.BowLegM, b.AftLegM)
	}
	l.aheadM = math.Max(0, l.meets[0])
	return l
}

func pointNamed(v planner.Vessel, name string) planner.StrongPoint {
	for _, p := range v.StrongPoints {
		if p.Name == name {
			return p
		}
	}
	return planner.StrongPoint{Name: name} // assumed: at the stem
}

// fixed gives where a point of the vessel lies.
func (l legs) fixed(p planner.StrongPoint) [2]float64 { return l.place(p.FromBowM, p.OffCentreM) }

// place turns metres aft of the stem and to starboard into the frame of the wind.
func (l legs) place(aftM, starboardM float64) [2]float64 {
	sin, cos := math.Sincos(l.heading)
	along, left := -aftM, -starboardM
	return [2]float64{along*cos - left*sin, along*sin + left*cos}
}

// apex is where two legs meet, to windward; where they are too short to meet, between the points.
func apex(a, b [2]float64, fromA, fromB float64) [2]float64 {
	dx, dy := b[0]-a[0], b[1]-a[1]
	apart := math.Hypot(dx, dy)
	if apart == 0 {
		return [2]float64{a[0] + fromA, a[1]}
	}
	along := (apart*apart + fromA*fromA - fromB*fromB) / (2 * apart)
	off := math.Sqrt(math.Max(0, fromA*fromA-along*along))
	ux, uy := dx/apart, dy/apart
	one := [2]float64{a[0] + along*ux - off*uy, a[1] + along*uy + off*ux}
	other := [2]float64{a[0] + along*ux + off*uy, a[1] + along*uy - off*ux}
	if one[0] > other[0] {
		return one
	}
	return other
}

// acrossM gives how far the view from above reaches to the right and to the left, vessel and canopy.
func (l legs) acrossM(v planner.Vessel, canopyM float64) (least, most float64) {
	for _, c := range [][2]float64{{0, 0}, {v.LOAM, v.BeamM / 2}, {v.LOAM, -v.BeamM / 2}, {v.LOAM / 2, v.BeamM / 2}, {v.LOAM / 2, -v.BeamM / 2}} {
		p := l.place(c[0], c[1])
		least, most = math.Min(least, p[1]), math.Max(most, p[1])
	}
	canopy := inflated * canopyM / 2 // its centre lies where the legs meet
	return math.Min(least, l.meets[1]-canopy), math.Max(most, l.meets[1]+canopy)
}

// above draws the view from above, wind from the right.
func (r rigging) above(top float64, size Size) {
	d, v, k, l := r.d, r.Request.Vessel, r.scale, r.legs
	r.title(drawing.Point{X: 0, Y: top + 3}, "FROM ABOVE")
	least, most := l.acrossM(v, r.canopy.UsedDiameterM)
	farthest := l.place(v.LOAM, 0)[0]
	origin := drawing.Point{X: 4 - math.Min(farthest-v.BeamM/2, -v.LOAM*0.3)*k, Y: top + size.Height/2 + (most+least)/2*k + 2}
	paper := func(p [2]float64) drawing.Point { return drawing.Point{X: origin.X + p[0]*k, Y: origin.Y - p[1]*k} }
	r.hull.drawAbove(d, v, func(aftM, starboardM float64) drawing.Point { return paper(l.place(aftM, starboardM)) })

	meets := paper(l.meets)
	radius := inflated * r.canopy.UsedDiameterM / 2 * k
	centre := drawing.Point{X: size.Width - 46 - radius, Y: meets.Y}
	throat := drawing.Point{X: centre.X - 2.2*radius - 2, Y: meets.Y}
	if l.known {
		fore := paper(l.fixed(l.fore))
		if l.two() {
			aft := paper(l.fixed(l.aft))
			d.Line(drawing.Rope, aft, meets)
			d.Line(drawing.Rope, fore, meets)
			r.strongPoint(aft)
		}
		r.strongPoint(fore)
	}
	r.broken(meets, throat)
	r.drawCanopy(centre, throat, radius)
	r.windArrow(top, "wind")
	r.legLabels(meets, top)
}

// legLabels says what the view from above cannot: which leg is which, how long, how loaded.
func (r rigging) legLabels(meets drawing.Point, top float64) {
	b := r.Plan.Bridle
	if b == nil {
		r.d.Write(drawing.Point{X: meets.X + 4, Y: meets.Y - 4}, drawing.Start, "how she is made fast: not computed")
		return
	}
	lines := []string{"single rode from the " + b.BowPoint}
	if r.legs.two() {
		lines = []string{
			"bow leg " + r.Units.Length(b.BowLegM) + ", " + b.BowPoint + ", peak " + r.Units.Force(b.LegLoads.BowN.Mid),
			"aft leg " + r.Units.Length(b.AftLegM) + ", " + b.AftPoint + ", peak " + r.Units.Force(b.LegLoads.AftN.Mid),
		}
		if r.legs.square {
			lines[0], lines[1] = "leg "+r.Units.Length(b.BowLegM)+", "+b.BowPoint+", peak "+r.Units.Force(b.LegLoads.BowN.Mid), "leg "+r.Units.Length(b.AftLegM)+", "+b.AftPoint+", peak "+r.Units.Force(b.LegLoads.AftN.Mid)
		}
	}
	lines = append(lines, headingWords(*b))
	x := math.Max(meets.X+3, 26)
	for i, text := range lines {
		r.d.Add(drawing.Label{At: drawing.Point{X: x, Y: top + 3 + 3.4*float64(i)}, Text: text, Clear: true})
	}
}

func headingWords(b planner.BridleAdvice) string {
	deg := measure.Degrees(b.HeadingDeg)
	switch {
	case b.Side == "ahead" || b.HeadingDeg < 2:
		return "bow to the wind"
	case b.Arrangement == "single_rode":
		return "she lies about " + deg + " off the wind, either side"
	}
	return "wind " + deg + " on the " + b.Side + " bow"
}
