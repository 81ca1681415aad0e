// Package drawing is a list of marks on a sheet, lines, areas and labels, that can be written as SVG
// and printed in a PDF, so that both show the same. Lengths are millimetres on paper; x runs to the
// right and y down from the upper left corner.
//
// Lines follow drafting practice (ISO 128: continuous thick for outlines, thin for dimensions, dashed for
// what is hidden, chain lines for limits), so that a mark is told by its line or hatching where
// there is no colour.
package drawing

import "math"

// Pen is a kind of line.
type Pen string

// The pens.
const (
	NoPen   Pen = ""
	Outline Pen = "outline" // what is there
	Thin    Pen = "thin"    // dimensions, leaders, axes
	Grid    Pen = "grid"    // behind the rest
	Rope    Pen = "rope"    // lines that bear load, and the curve that matters
	Dashed  Pen = "dashed"  // the other curve
	Chain   Pen = "chain"   // a limit
	Dotted  Pen = "dotted"  // a line without load
)

// Fill is how an area is filled.
type Fill string

// The fills.
const (
	NoFill Fill = ""
	Paper  Fill = "paper"
	Tint   Fill = "tint"  // a light shade
	Hatch  Fill = "hatch" // strokes falling to the left
	Cross  Fill = "cross" // strokes both ways
	Solid  Fill = "solid" // ink
	Day    Fill = "day"
	Night  Fill = "night" // dark on any screen; labels on it are OnDark
)

// Point is a place on the sheet in mm.
type Point struct{ X, Y float64 }

// Mark is a Shape or a Label.
type Mark interface{ mark() }

// Shape is a line from point to point, or the area within when it is closed.
type Shape struct {
	Points []Point
	Closed bool
	Pen    Pen
	Fill   Fill
}

// Anchor is the part of a text that stands at its place.
type Anchor string

// The anchors.
const (
	Start  Anchor = "start"
	Middle Anchor = "middle"
	End    Anchor = "end"
)

// Label is a text. At is on its baseline. Turn is in degrees, clockwise, about At.
type Label struct {
	At     Point
	Text   string
	Size   float64 // of the type, mm; 0: Text
	Anchor Anchor  // empty: Start
	Bold   bool
	Turn   float64
	OnDark bool // light on any screen and on paper
	Clear  bool // on a ground of paper, so that lines do not run through it
}

func (Shape) mark() {}
func (Label) mark() {}

// Sizes of type in mm. The least is 8 points.
const (
	Text  = 2.9
	Small = 2.83
	Large = 3.4
)

// Drawing is a sheet with marks, painted in order. Name is part of the ids within its SVG, so two
// drawings of one page need two names.
type Drawing struct {
	Name          string
	Title, Desc   string // for who cannot see it
	Width, Height float64
	Marks         []Mark
}

// Add appends marks.
func (d *Drawing) Add(marks ...Mark) { d.Marks = append(d.Marks, marks...) }

// Line draws through points.
func (d *Drawing) Line(pen Pen, points ...Point) { d.Add(Shape{Points: points, Pen: pen}) }

// Area draws a closed shape.
func (d *Drawing) Area(pen Pen, fill Fill, points ...Point) {
	d.Add(Shape{Points: points, Closed: true, Pen: pen, Fill: fill})
}

// Box draws a rectangle.
func (d *Drawing) Box(pen Pen, fill Fill, x, y, w, h float64) {
	d.Area(pen, fill, Point{x, y}, Point{x + w, y}, Point{x + w, y + h}, Point{x, y + h})
}

// Circle draws a circle.
func (d *Drawing) Circle(pen Pen, fill Fill, at Point, r float64) {
	d.Area(pen, fill, Arc(at, r, r, 0, 360)...)
}

// Write puts a text.
func (d *Drawing) Write(at Point, anchor Anchor, text string) {
	d.Add(Label{At: at, Anchor: anchor, Text: text})
}

// Arrow draws a line with a head at its end.
func (d *Drawing) Arrow(pen Pen, from, to Point) {
	d.Line(pen, from, to)
	d.head(to, math.Atan2(to.Y-from.Y, to.X-from.X))
}

// Dimension draws a line with a head at each end and, at its middle, what it measures.
func (d *Drawing) Dimension(from, to Point, text string) {
	d.Arrow(Thin, from, to)
	d.head(from, math.Atan2(from.Y-to.Y, from.X-to.X))
	d.Add(Label{At: Point{(from.X + to.X) / 2, (from.Y+to.Y)/2 + Text/3}, Text: text, Anchor: Middle, Clear: true})
}

func (d *Drawing) head(at Point, direction float64) {
	const long, half = 2.2, 0.35 // mm; rad
	side := func(turn float64) Point {
		return Point{at.X - long*math.Cos(direction+turn), at.Y - long*math.Sin(direction+turn)}
	}
	d.Area(NoPen, Solid, at, side(half), side(-half))
}

// Arc gives points on an ellipse between two angles in degrees, clockwise from the right.
func Arc(at Point, rx, ry, fromDeg, toDeg float64) []Point {
	n := int(math.Max(3, math.Ceil(math.Abs(toDeg-fromDeg)/10)))
	points := make([]Point, 0, n+1)
	for i := range n + 1 {
		a := (fromDeg + (toDeg-fromDeg)*float64(i)/float64(n)) * math.Pi / 180
		points = append(points, Point{at.X + rx*math.Cos(a), at.Y + ry*math.Sin(a)})
	}
	return points
}

// Clip gives the parts of a line within a rectangle.
func Clip(points []Point, x0, y0, x1, y1 float64) [][]Point {
	var parts [][]Point
	var part []Point
	for i := 1; i < len(points); i++ {
		a, b, ok := clipped(points[i-1], points[i], x0, y0, x1, y1)
		if !ok {
			continue
		}
		if len(part) == 0 || part[len(part)-1] != a {
			if len(part) > 1 {
				parts = append(parts, part)
			}
			part = []Point{a}
		}
		part = append(part, b)
	}
	if len(part) > 1 {
		parts = append(parts, part)
	}
	return parts
}

// clipped gives the part of a segment within a rectangle (Liang and Barsky 1984).
func clipped(a, b Point, x0, y0, x1, y1 float64) (from, to Point, ok bool) {
	dx, dy := b.X-a.X, b.Y-a.Y
	t0, t1 := 0.0, 1.0
	for _, edge := range []struct{ p, q float64 }{{-dx, a.X - x0}, {dx, x1 - a.X}, {-dy, a.Y - y0}, {dy, y1 - a.Y}} {
		switch {
		case edge.p == 0 && edge.q < 0:
			return a, b, false
		case edge.p < 0:
			t0 = math.Max(t0, edge.q/edge.p)
		case edge.p > 0:
			t1 = math.Min(t1, edge.q/edge.p)
		}
	}
	if t0 > t1 {
		return a, b, false
	}
	from, to = a, b
	if t0 > 0 {
		from = Point{a.X + t0*dx, a.Y + t0*dy}
	}
	if t1 < 1 {
		to = Point{a.X + t1*dx, a.Y + t1*dy}
	}
	return from, to, true
}
