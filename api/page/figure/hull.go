package figure

import (
	"math"

	"rideout/api/page/drawing"
	"rideout/service/physics/hull"
	"rideout/service/planner"
)

// outline is a hull by its kind, in shares: lengths of the length overall from the stem aft, heights of
// the freeboard above water and of the draught below it, breadths of half the beam. It is a
// symbol in her true proportions, no lines plan.
type outline struct {
	side  [][2]float64   // profile of the hull: x, height; above water in freeboards, below in draughts
	works [][][2]float64 // what stands on it; heights in freeboards
	masts []float64      // where a mast stands; as high as masted
	high  float64        // height of the masts, in lengths overall
	above [][][2]float64 // seen from above: x, breadth to starboard in halves of the beam
}

var outlines = map[hull.Kind]outline{
	hull.PowerDisplacement: {
		side:  [][2]float64{{0, 1.35}, {0.25, 1.1}, {0.6, 0.9}, {1, 0.95}, {0.98, 0}, {0.94, -0.5}, {0.85, -1}, {0.3, -0.9}, {0.12, -0.5}, {0.07, 0}},
		works: [][][2]float64{{{0.22, 1.1}, {0.24, 2.3}, {0.56, 2.2}, {0.56, 0.92}}, {{0.28, 2.3}, {0.3, 3}, {0.46, 2.9}, {0.46, 2.25}}},
		masts: []float64{0.48}, high: 0.42,
		above: [][][2]float64{{{0, 0}, {0.06, 0.38}, {0.16, 0.74}, {0.3, 0.95}, {0.5, 1}, {0.85, 0.92}, {1, 0.8}, {1, -0.8}, {0.85, -0.92}, {0.5, -1}, {0.3, -0.95}, {0.16, -0.74}, {0.06, -0.38}}, {{0.24, 0.6}, {0.56, 0.62}, {0.56, -0.62}, {0.24, -0.6}}},
	},
	hull.PowerPlaning: {
		side:  [][2]float64{{0, 1.3}, {0.4, 1.1}, {1, 0.85}, {1, -0.6}, {0.6, -0.9}, {0.25, -0.6}, {0.1, 0}},
		works: [][][2]float64{{{0.3, 1.15}, {0.44, 2.1}, {0.78, 2.05}, {0.82, 0.95}}},
		above: [][][2]float64{{{0, 0}, {0.1, 0.46}, {0.25, 0.82}, {0.45, 1}, {1, 0.94}, {1, -0.94}, {0.45, -1}, {0.25, -0.82}, {0.1, -0.46}}, {{0.36, 0.6}, {0.78, 0.66}, {0.78, -0.66}, {0.36, -0.6}}},
	},
	hull.SailMonohull: {
		side:  [][2]float64{{0, 1.1}, {0.5, 0.95}, {1, 1}, {0.95, 0.1}, {0.86, -0.15}, {0.86, -0.75}, {0.82, -0.75}, {0.79, -0.2}, {0.6, -0.3}, {0.57, -1}, {0.42, -1}, {0.38, -0.32}, {0.1, 0}},
		works: [][][2]float64{{{0.3, 1}, {0.34, 1.5}, {0.66, 1.45}, {0.7, 0.97}}},
		masts: []float64{0.38}, high: 1.15,
		above: [][][2]float64{{{0, 0}, {0.1, 0.38}, {0.25, 0.74}, {0.45, 0.98}, {0.6, 1}, {0.85, 0.86}, {1, 0.62}, {1, -0.62}, {0.85, -0.86}, {0.6, -1}, {0.45, -0.98}, {0.25, -0.74}, {0.1, -0.38}}, {{0.32, 0.34}, {0.66, 0.44}, {0.66, -0.44}, {0.32, -0.34}}},
	},
	hull.SailMultihull: {
		side:  [][2]float64{{0, 1.1}, {1, 0.9}, {0.99, 0}, {0.9, -0.45}, {0.62, -1}, {0.5, -1}, {0.45, -0.45}, {0.1, -0.35}, {0.02, 0}},
		works: [][][2]float64{{{0.3, 1.05}, {0.4, 1.75}, {0.74, 1.7}, {0.78, 0.95}}},
		masts: []float64{0.4}, high: 1.2,
		above: [][][2]float64{
			{{0, 0.8}, {0.12, 0.95}, {0.4, 1}, {1, 0.98}, {1, 0.66}, {0.4, 0.62}, {0.12, 0.68}},
			{{0, -0.8}, {0.12, -0.95}, {0.4, -1}, {1, -0.98}, {1, -0.66}, {0.4, -0.62}, {0.12, -0.68}},
			{{0.3, 0.63}, {0.82, 0.64}, {0.82, -0.64}, {0.3, -0.63}},
		},
	},
	hull.Workboat: {
		side:  [][2]float64{{0, 1.5}, {0.3, 1.2}, {0.34, 0.8}, {1, 0.75}, {0.99, 0}, {0.95, -0.7}, {0.85, -1}, {0.25, -0.85}, {0.08, 0}},
		works: [][][2]float64{{{0.14, 1.35}, {0.16, 2.8}, {0.36, 2.7}, {0.36, 0.8}}},
		masts: []float64{0.36, 0.9}, high: 0.4,
		above: [][][2]float64{{{0, 0}, {0.05, 0.5}, {0.15, 0.88}, {0.3, 1}, {0.9, 1}, {1, 0.92}, {1, -0.92}, {0.9, -1}, {0.3, -1}, {0.15, -0.88}, {0.05, -0.5}}, {{0.16, 0.7}, {0.36, 0.7}, {0.36, -0.7}, {0.16, -0.7}}},
	},
}

// freeboardM is the freeboard drawn; one that was not given is a tenth of the length, for looks.
func freeboardM(v planner.Vessel) float64 {
	if v.FreeboardM > 0 {
		return v.FreeboardM
	}
	return v.LOAM / 10
}

func outlineOf(v planner.Vessel) outline {
	if o, ok := outlines[v.Hull]; ok {
		return o
	}
	return outlines[hull.PowerDisplacement]
}

// airDraughtM is how far she is drawn above the water; masts are cut short.
func (o outline) airDraughtM(v planner.Vessel) float64 {
	high := math.Min(o.high, mastShown) * v.LOAM
	for _, w := range o.works {
		for _, p := range w {
			high = math.Max(high, p[1]*freeboardM(v))
		}
	}
	return high
}

// mastShown is how much of a mast is drawn, in lengths overall.
const mastShown = 0.4

// drawSide draws her profile with the stem to the right.
func (o outline) drawSide(d *drawing.Drawing, v planner.Vessel, stem drawing.Point, scale float64) {
	at := func(p [2]float64) drawing.Point {
		height := p[1] * freeboardM(v)
		if p[1] < 0 {
			height = p[1] * v.DraughtM
		}
		return drawing.Point{X: stem.X - p[0]*v.LOAM*scale, Y: stem.Y - height*scale}
	}
	for _, x := range o.masts {
		foot, head := at([2]float64{x, 0.9}), at([2]float64{x, 0})
		head.Y = stem.Y - math.Min(o.high, mastShown)*v.LOAM*scale
		d.Line(drawing.Outline, foot, head)
	}
	for _, w := range o.works {
		d.Area(drawing.Outline, drawing.Paper, mapped(w, at)...)
	}
	d.Area(drawing.Outline, drawing.Tint, mapped(o.side, at)...)
}

// drawAbove draws her from above; place turns metres aft of the stem and to starboard into paper.
func (o outline) drawAbove(d *drawing.Drawing, v planner.Vessel, place func(aftM, starboardM float64) drawing.Point) {
	for i, part := range o.above {
		fill := drawing.Tint
		if i == len(o.above)-1 {
			fill = drawing.Paper
		}
		d.Area(drawing.Outline, fill, mapped(part, func(p [2]float64) drawing.Point { return place(p[0]*v.LOAM, p[1]*v.BeamM/2) })...)
	}
}

func mapped(shape [][2]float64, at func([2]float64) drawing.Point) []drawing.Point {
	points := make([]drawing.Point, len(shape))
	for i, p := range shape {
		points[i] = at(p)
	}
	return points
}
