package figure

import (
	"fmt"
	"math"
	"slices"

	"rideout/api/page/drawing"
	"rideout/api/page/measure"
	"rideout/service/planner"
)

// Peak draws the peak load against the length of rode in the worst phase: the middle, its band, and what
// the weakest part bears.
func Peak(s Subject, size Size) drawing.Drawing {
	const title = "Peak load against rode paid out"
	p := s.Plan
	if len(p.Rode.Curve) < 2 {
		return missing("peak", title, "the plan has no curve", size)
	}
	part := Governing(p)
	d := drawing.Drawing{Name: "peak", Title: title, Width: size.Width, Height: size.Height, Desc: peakWords(s, part)}
	lengths := p.Rode.Curve
	x := axis{0, lengths[len(lengths)-1].LengthM * 1.02, 11, size.Width - 3}
	y := upTo(shown(lengths, part), size.Height-17, 9)
	peakGrid(&d, s, x, y)

	var low, mid, high [][2]float64
	for _, l := range lengths {
		low = append(low, [2]float64{l.LengthM, l.PeakN.Low})
		mid = append(mid, [2]float64{l.LengthM, l.PeakN.Mid})
		high = append(high, [2]float64{l.LengthM, l.PeakN.High})
	}
	back := curve(x, y, low)
	slices.Reverse(back)
	d.Area(drawing.Thin, drawing.Hatch, append(curve(x, y, high), back...)...)
	if part != nil {
		line := y.at(part.CapacityN)
		d.Line(drawing.Chain, drawing.Point{X: x.from, Y: line}, drawing.Point{X: x.to, Y: line})
	}
	d.Line(drawing.Rope, curve(x, y, mid)...)
	for _, at := range curve(x, y, mid) {
		d.Circle(drawing.Outline, drawing.Paper, at, 0.8)
	}
	peakLabels(&d, s, x, y, part)
	return d
}

// shown is the greatest load drawn: all of the middle line and the capacity. The band of the shortest lengths may
// reach beyond all use and would flatten the rest: it is cut.
func shown(lengths []planner.RodeLength, part *planner.Part) float64 {
	most := 0.0
	for _, l := range lengths {
		most = math.Max(most, 1.05*l.PeakN.Mid)
	}
	if part != nil {
		most = math.Max(most, 1.1*part.CapacityN)
	}
	return most
}

func peakGrid(d *drawing.Drawing, s Subject, x, y axis) {
	d.Add(drawing.Label{At: drawing.Point{X: 0, Y: 3}, Bold: true, Text: "PEAK LOAD, kN: 90 % of 3 h maxima stay below the line"})
	for _, v := range y.ticks(5) {
		d.Line(drawing.Grid, drawing.Point{X: x.from, Y: y.at(v)}, drawing.Point{X: x.to, Y: y.at(v)})
		d.Add(drawing.Label{At: drawing.Point{X: x.from - 1.2, Y: y.at(v) + 0.9}, Anchor: drawing.End, Text: measure.Plain(v / 1000)})
	}
	for _, v := range x.ticks(int(x.to-x.from) / 16) {
		d.Line(drawing.Thin, drawing.Point{X: x.at(v), Y: y.from}, drawing.Point{X: x.at(v), Y: y.from + 1})
		d.Add(drawing.Label{At: drawing.Point{X: x.at(v), Y: y.from + 4}, Anchor: drawing.Middle, Text: measure.Plain(v)})
		if s.Units == measure.Trade {
			d.Add(drawing.Label{At: drawing.Point{X: x.at(v), Y: y.from + 7.2}, Anchor: drawing.Middle, Size: drawing.Small, Text: s.Units.Feet(v)})
		}
	}
	d.Line(drawing.Thin, drawing.Point{X: x.from, Y: y.to}, drawing.Point{X: x.from, Y: y.from}, drawing.Point{X: x.to, Y: y.from})
	unit := "rode paid out, m"
	if s.Units == measure.Trade {
		unit += " (below: ft)"
	}
	below := y.from + 10.6
	d.Add(drawing.Label{At: drawing.Point{X: x.to, Y: below}, Anchor: drawing.End, Text: unit})
	d.Area(drawing.Thin, drawing.Hatch, drawing.Point{X: x.from, Y: below - 2}, drawing.Point{X: x.from + 6, Y: below - 2}, drawing.Point{X: x.from + 6, Y: below}, drawing.Point{X: x.from, Y: below})
	d.Add(drawing.Label{At: drawing.Point{X: x.from + 7, Y: below}, Text: "low to high"})
}

func peakLabels(d *drawing.Drawing, s Subject, x, y axis, part *planner.Part) {
	pay := s.Plan.Rode.PayOutM
	d.Line(drawing.Outline, drawing.Point{X: x.at(pay), Y: y.to - 2}, drawing.Point{X: x.at(pay), Y: y.from})
	anchor, off := drawing.Start, 1.5
	if x.at(pay) > (x.from+x.to)/2 {
		anchor, off = drawing.End, -1.5
	}
	d.Add(drawing.Label{At: drawing.Point{X: x.at(pay) + off, Y: y.to + 1}, Anchor: anchor, Bold: true, Clear: true, Text: "pay out " + s.Units.Length(pay)})
	if part != nil {
		d.Add(drawing.Label{At: drawing.Point{X: x.from + 2, Y: y.at(part.CapacityN) - 1.2}, Clear: true, Text: "capacity of the " + part.Part + " " + s.Units.Force(part.CapacityN)})
	}
	below := y.from + 14.2
	for _, l := range s.Plan.Rode.Curve {
		if l.LengthM == pay {
			slack := fmt.Sprintf("at %s the rode is slack %s of the time (%s to %s)", s.Units.Length(pay), measure.Percent(l.SlackShare.Mid), measure.Percent(l.SlackShare.Low), measure.Percent(l.SlackShare.High))
			d.Add(drawing.Label{At: drawing.Point{X: x.from, Y: below}, Text: slack})
		}
	}
}

// Governing is the part that governs, nil without one.
func Governing(p planner.Plan) *planner.Part {
	for i := range p.Hardware {
		if p.Hardware[i].Governing {
			return &p.Hardware[i]
		}
	}
	return nil
}

func peakWords(s Subject, part *planner.Part) string {
	l := s.Plan.Loads.PeakN
	text := fmt.Sprintf("Peak load falls as more rode is paid out. At %s it is %s, and may be %s.", s.Units.Length(s.Plan.Rode.PayOutM), s.Units.Force(l.Mid), s.Units.Forces(l))
	if part == nil {
		return text
	}
	return sentence(text, fmt.Sprintf("The weakest part, the %s, bears %s.", part.Part, s.Units.Force(part.CapacityN)))
}
