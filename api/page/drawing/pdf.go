package drawing

import (
	"math"

	"codeberg.org/go-pdf/fpdf"
)

// Family is the name under which the caller has added the font of the labels, plain and bold.
const Family = "sheet"

// pens are width and dashes in mm, all but the grid in black: print is read by any light.
var pens = map[Pen]struct {
	width float64
	grey  int
	dash  []float64
}{
	Outline: {0.4, 0, nil}, Thin: {0.18, 0, nil}, Grid: {0.12, 170, nil}, Rope: {0.7, 0, nil},
	Dashed: {0.35, 0, []float64{2, 1}}, Chain: {0.4, 0, []float64{5, 1, 0.6, 1}}, Dotted: {0.35, 0, []float64{0.3, 0.8}},
}

// greys are the fills that cover their area.
var greys = map[Fill]int{Paper: 255, Tint: 228, Solid: 0, Day: 255, Night: 0}

// strokes are the directions in degrees and the distance in mm of hatchings.
var strokes = map[Fill]struct {
	apart float64
	along []float64
}{Hatch: {2, []float64{45}}, Cross: {2, []float64{45, 135}}}

// Print draws with the upper left corner at a place of the PDF's page, whose unit must be mm. The
// font Family must have been added.
func Print(p *fpdf.Fpdf, d Drawing, x, y float64) {
	by := Point{x, y}
	p.SetLineJoinStyle("round")
	for _, m := range d.Marks {
		switch m := m.(type) {
		case Shape:
			m.print(p, by)
		case Label:
			m.print(p, by)
		}
	}
	p.SetDashPattern(nil, 0)
}

func (s Shape) print(p *fpdf.Fpdf, by Point) {
	if len(s.Points) < 2 {
		return
	}
	points := make([]fpdf.PointType, len(s.Points))
	for i, q := range s.Points {
		points[i] = fpdf.PointType{X: q.X + by.X, Y: q.Y + by.Y}
	}
	if grey, covers := greys[s.Fill]; covers && s.Closed {
		p.SetFillColor(grey, grey, grey)
		p.Polygon(points, "F")
	}
	if hatch, ok := strokes[s.Fill]; ok && s.Closed {
		for _, along := range hatch.along {
			printStrokes(p, points, along, hatch.apart)
		}
	}
	pen, ok := pens[s.Pen]
	if !ok {
		return
	}
	p.SetDrawColor(pen.grey, pen.grey, pen.grey)
	p.SetLineWidth(pen.width)
	p.SetDashPattern(pen.dash, 0)
	p.MoveTo(points[0].X, points[0].Y)
	for _, q := range points[1:] {
		p.LineTo(q.X, q.Y)
	}
	if s.Closed {
		p.ClosePath()
	}
	p.DrawPath("D")
}

// printStrokes hatches an area with lines in one direction.
func printStrokes(p *fpdf.Fpdf, area []fpdf.PointType, alongDeg, apart float64) {
	least, most := area[0], area[0]
	for _, q := range area {
		least = fpdf.PointType{X: math.Min(least.X, q.X), Y: math.Min(least.Y, q.Y)}
		most = fpdf.PointType{X: math.Max(most.X, q.X), Y: math.Max(most.Y, q.Y)}
	}
	p.ClipPolygon(area, false)
	p.SetDrawColor(90, 90, 90)
	p.SetLineWidth(0.12)
	p.SetDashPattern(nil, 0)
	a := alongDeg * math.Pi / 180
	middle := Point{(least.X + most.X) / 2, (least.Y + most.Y) / 2}
	reach := math.Hypot(most.X-least.X, most.Y-least.Y) / 2
	for off := -reach; off <= reach; off += apart {
		at := Point{middle.X - off*math.Sin(a), middle.Y + off*math.Cos(a)}
		p.Line(at.X-reach*math.Cos(a), at.Y-reach*math.Sin(a), at.X+reach*math.Cos(a), at.Y+reach*math.Sin(a))
	}
	p.ClipEnd()
}

func (l Label) print(p *fpdf.Fpdf, by Point) {
	weight := ""
	if l.Bold {
		weight = "B"
	}
	p.SetFont(Family, weight, l.size()*72/25.4)
	width := p.GetStringWidth(l.Text)
	x, y := l.At.X+by.X, l.At.Y+by.Y
	left := x
	switch l.Anchor {
	case Middle:
		left -= width / 2
	case End:
		left -= width
	}
	if l.Turn != 0 {
		p.TransformBegin()
		p.TransformRotate(-l.Turn, x, y)
		defer p.TransformEnd()
	}
	if l.Clear {
		p.SetFillColor(255, 255, 255)
		p.Rect(left-0.3, y-0.8*l.size(), width+0.6, 1.02*l.size(), "F")
	}
	ink := 0
	if l.OnDark {
		ink = 255
	}
	p.SetTextColor(ink, ink, ink)
	p.Text(left, y, l.Text)
}
