package figure

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"rideout/api/page/drawing"
	"rideout/service/planner"
)

// Mate is a band about what was predicted and what was observed, in the unit the drawing is labelled with.
type Mate struct {
	Predicted planner.Band
	Observed  float64
}

func (m Mate) inside() bool {
	return m.Predicted.Low <= m.Observed && m.Observed <= m.Predicted.High
}

// Agreement draws what was observed against what was predicted. On the full line both are equal; the hatched sector is as
// wide as the predictions' own bands are in the middle of the list, by their ratios to the middle figure. A ring was observed
// inside its own band, a triangle outside; the bar through each is that band.
func Agreement(name, what, unit string, mates []Mate, size Size) drawing.Drawing {
	title := capital(what) + ", observed against predicted"
	if len(mates) == 0 {
		d := missing(name, title, "nothing was observed yet", size)
		d.Desc = "Nothing to show: nothing was observed yet."
		return d
	}
	d := drawing.Drawing{Name: name, Title: title, Width: size.Width, Height: size.Height, Desc: agreementWords(what, unit, mates)}
	most := 0.0
	for _, m := range mates {
		most = math.Max(most, 1.05*math.Max(m.Observed, m.Predicted.High))
	}
	const left, top, below, right = 12.0, 9.0, 21.0, 3.0
	x, y := upTo(most, left, size.Width-right), upTo(most, size.Height-below, top)
	agreementGrid(&d, what, unit, x, y)
	agreementSector(&d, mates, x, y)
	for _, m := range mates {
		at := y.at(m.Observed)
		d.Line(drawing.Thin, drawing.Point{X: x.at(m.Predicted.Low), Y: at}, drawing.Point{X: x.at(m.Predicted.High), Y: at})
	}
	for _, m := range mates { // over all bars
		drawMate(&d, m, x, y)
	}
	agreementKey(&d, x, size.Height)
	return d
}

func agreementGrid(d *drawing.Drawing, what, unit string, x, y axis) {
	d.Add(drawing.Label{At: drawing.Point{X: 0, Y: 3.4}, Bold: true, Text: "OBSERVED " + strings.ToUpper(what) + ", " + unit})
	for _, v := range y.ticks(5) {
		d.Line(drawing.Grid, drawing.Point{X: x.from, Y: y.at(v)}, drawing.Point{X: x.to, Y: y.at(v)})
		d.Line(drawing.Grid, drawing.Point{X: x.at(v), Y: y.from}, drawing.Point{X: x.at(v), Y: y.to})
		d.Add(drawing.Label{At: drawing.Point{X: x.from - 1.2, Y: y.at(v) + 0.9}, Anchor: drawing.End, Text: tick(v)})
		d.Add(drawing.Label{At: drawing.Point{X: x.at(v), Y: y.from + 4}, Anchor: drawing.Middle, Text: tick(v)})
	}
	d.Line(drawing.Thin, drawing.Point{X: x.from, Y: y.to}, drawing.Point{X: x.from, Y: y.from}, drawing.Point{X: x.to, Y: y.from})
	d.Add(drawing.Label{At: drawing.Point{X: x.to, Y: y.from + 8.2}, Anchor: drawing.End, Text: "predicted, " + unit})
}

// tick writes a value of the axis, whose steps are 1, 2 or 5 times a power of ten, without the tail of its sum.
func tick(v float64) string {
	if v == 0 { // not -0
		v = 0
	}
	return fmt.Sprintf("%.6g", v)
}

// agreementSector draws where equal figures lie, and the sector about them.
func agreementSector(d *drawing.Drawing, mates []Mate, x, y axis) {
	low, high := middleRatios(mates)
	origin, corner := drawing.Point{X: x.at(0), Y: y.at(0)}, drawing.Point{X: x.to, Y: y.to}
	edge := func(ratio float64) drawing.Point {
		if ratio > 1 {
			return drawing.Point{X: x.at(x.most / ratio), Y: y.to}
		}
		return drawing.Point{X: x.to, Y: y.at(y.most * ratio)}
	}
	d.Area(drawing.Thin, drawing.Hatch, origin, edge(high), corner, edge(low))
	d.Line(drawing.Rope, origin, corner)
}

// middleRatios are the medians of low and high to the middle figure.
func middleRatios(mates []Mate) (low, high float64) {
	var lows, highs []float64
	for _, m := range mates {
		if m.Predicted.Mid > 0 {
			lows, highs = append(lows, m.Predicted.Low/m.Predicted.Mid), append(highs, m.Predicted.High/m.Predicted.Mid)
		}
	}
	return math.Min(1, Median(lows)), math.Max(1, Median(highs))
}

// Median of a list, which it sorts; of an even one the mean of the two in the middle; 1 of none.
func Median(list []float64) float64 {
	if len(list) == 0 {
		return 1
	}
	slices.Sort(list)
	n := len(list)
	return (list[(n-1)/2] + list[n/2]) / 2
}

func drawMate(d *drawing.Drawing, m Mate, x, y axis) {
	at := drawing.Point{X: x.at(m.Predicted.Mid), Y: y.at(m.Observed)}
	if m.inside() {
		d.Circle(drawing.Outline, drawing.Paper, at, 1.2)
		return
	}
	triangle(d, at)
}

func triangle(d *drawing.Drawing, at drawing.Point) {
	d.Area(drawing.Outline, drawing.Solid, drawing.Point{X: at.X, Y: at.Y - 1.6}, drawing.Point{X: at.X + 1.5, Y: at.Y + 1.1}, drawing.Point{X: at.X - 1.5, Y: at.Y + 1.1})
}

func agreementKey(d *drawing.Drawing, x axis, height float64) {
	row := height - 6.5
	at := func(dx float64) drawing.Point { return drawing.Point{X: x.from + dx, Y: row} }
	d.Circle(drawing.Outline, drawing.Paper, at(1.5), 1.2)
	d.Write(drawing.Point{X: x.from + 4, Y: row + 0.9}, drawing.Start, "inside its band")
	triangle(d, at(31.5))
	d.Write(drawing.Point{X: x.from + 34, Y: row + 0.9}, drawing.Start, "outside")
	d.Line(drawing.Thin, at(50), at(56))
	d.Write(drawing.Point{X: x.from + 57.5, Y: row + 0.9}, drawing.Start, "band")
	row += 5
	d.Line(drawing.Rope, at(0), at(6))
	d.Write(drawing.Point{X: x.from + 7.5, Y: row + 0.9}, drawing.Start, "equal")
	d.Area(drawing.Thin, drawing.Hatch, drawing.Point{X: x.from + 30, Y: row - 1.2}, drawing.Point{X: x.from + 36, Y: row - 1.2}, drawing.Point{X: x.from + 36, Y: row + 1.2}, drawing.Point{X: x.from + 30, Y: row + 1.2})
	d.Write(drawing.Point{X: x.from + 37.5, Y: row + 0.9}, drawing.Start, "the usual band")
}

func agreementWords(what, unit string, mates []Mate) string {
	inside := 0
	ratios := make([]float64, 0, len(mates))
	for _, m := range mates {
		if m.inside() {
			inside++
		}
		if m.Predicted.Mid > 0 {
			ratios = append(ratios, m.Observed/m.Predicted.Mid)
		}
	}
	return fmt.Sprintf("%s in %s. Of %d observed, %d lie inside the band predicted; the median of observed to predicted is %.2f. The table holds each.", capital(what), unit, len(mates), inside, Median(ratios))
}

func capital(text string) string {
	if text == "" || text[0] < 'a' || text[0] > 'z' {
		return text
	}
	return string(text[0]-'a'+'A') + text[1:]
}
