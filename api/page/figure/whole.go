package figure

import (
	"math"
	"slices"

	"rideout/api/page/drawing"
	"rideout/api/page/measure"
	"rideout/service/physics/quantity"
	"rideout/service/planner"
)

// whole draws vessel, rode and canopy to one scale on the wave of the hardest phase, whose rode and canopy they are: its
// height is the significant one, its length that of deep water at the peak period, g T^2/(2 pi).
func (r rigging) whole(top float64, size Size) {
	d, v := r.d, r.Request.Vessel
	r.title(drawing.Point{X: 0, Y: top + 3}, "THE WHOLE, TO ONE SCALE")
	legM := r.legs.aheadM
	totalM := v.LOAM + legM + r.Plan.Rode.PayOutM + r.canopy.UsedDiameterM
	k := math.Min((size.Width-8)/totalM, (size.Height-10)/(2*r.canopy.DepthM+1))
	k = math.Min(k, (size.Height-12)/v.DraughtM) // in flat water nothing lifts her
	water := top + 11
	stem := drawing.Point{X: 2 + v.LOAM*k, Y: water}
	canopyAt := drawing.Point{X: stem.X + (legM+r.Plan.Rode.PayOutM)*k, Y: water + r.canopy.DepthM*k}
	text, float := "flat water", water
	if i := slices.IndexFunc(r.Plan.Phases, func(p planner.Phase) bool { return Hardest(r.Plan, p) }); i >= 0 && r.Plan.Phases[i].HsM > 0.1 {
		p := r.Plan.Phases[i]
		length := quantity.StandardGravityMS2 * p.TpS * p.TpS / (2 * math.Pi)
		height := math.Min(p.HsM*k, 12)
		float = water - height/2
		d.Line(drawing.Thin, swell(water, height, length*k, stem.X, size.Width)...)
		text = "significant height " + r.Units.Wave(p.HsM) + ", length " + r.Units.Length(length) + " at " + measure.Period(p.TpS)
	} else {
		d.Line(drawing.Thin, drawing.Point{X: 0, Y: water}, drawing.Point{X: size.Width, Y: water})
	}
	small := outlineOf(v)
	small.masts = nil
	small.drawSide(d, v, drawing.Point{X: stem.X, Y: float}, k)
	d.Line(drawing.Rope, drawing.Point{X: stem.X, Y: float - freeboardM(v)*k}, canopyAt)
	radius := math.Max(inflated*r.canopy.UsedDiameterM/2*k, 0.8)
	d.Area(drawing.Outline, drawing.Solid, drawing.Arc(canopyAt, 0.95*radius, radius, -90, 90)...)
	bottom := top + size.Height - 1
	d.Add(drawing.Label{At: drawing.Point{X: size.Width, Y: top + 3}, Anchor: drawing.End, Size: drawing.Small, Text: "wave: " + text})
	end := canopyAt.X
	d.Dimension(drawing.Point{X: stem.X, Y: bottom - 1}, drawing.Point{X: end, Y: bottom - 1}, r.Units.Length(legM+r.Plan.Rode.PayOutM))
}

// swell is a wave with a crest at the vessel.
func swell(water, height, length, crestX, width float64) []drawing.Point {
	var points []drawing.Point
	for x := 0.0; x <= width; x += 1.5 {
		points = append(points, drawing.Point{X: x, Y: water - height/2*math.Cos(2*math.Pi*(x-crestX)/length)})
	}
	return points
}

// Hardest tells of a phase whether the plan's own loads and pay-out are those of it.
func Hardest(p planner.Plan, phase planner.Phase) bool {
	return phase.PayOutM == p.Rode.PayOutM && phase.Loads.PeakN == p.Loads.PeakN
}
