package figure

import (
	"fmt"
	"math"
	"time"

	"rideout/api/page/drawing"
	"rideout/api/page/measure"
	"rideout/service/physics/quantity"
	"rideout/service/planner"
)

// Hours draws wind, sea, daylight, phases and what is to be done against time, in UTC.
func Hours(s Subject, size Size) drawing.Drawing {
	const title = "The hours"
	begin, end, ok := Extent(s)
	if !ok {
		return missing("hours", title, "there is no forecast", size)
	}
	d := drawing.Drawing{Name: "hours", Title: title, Desc: hoursWords(s), Width: size.Width, Height: size.Height}
	acts := s.Plan.Hours
	t := clockOf(begin, end, 20, size.Width-5)
	bottom := size.Height - 8
	actsTop := bottom - 4*math.Max(1, float64(len(acts))) - 1
	withActs := actsTop-panelsTop >= leastPanels // else they stand in a table
	if !withActs {
		actsTop = bottom
	}
	windBottom := panelsTop + 0.58*(actsTop-panelsTop-6)
	h := hours{Subject: s, d: &d, t: t}
	h.grid(12, bottom)
	h.light(1, 4)
	h.phases(6.5, 5)
	h.barbs(17)
	h.wind(panelsTop, windBottom)
	h.sea(windBottom+4, actsTop-2)
	if withActs {
		h.acts(actsTop, acts)
	}
	return d
}

// Where the panels of wind and sea begin, and what they need together, in mm.
const (
	panelsTop   = 22.0
	leastPanels = 26.0
)

type hours struct {
	Subject
	d *drawing.Drawing
	t clock
}

// Extent is the time drawn: the forecast, and what is to be done before it.
func Extent(s Subject) (begin, end time.Time, ok bool) {
	steps := s.Request.Forecast.Steps
	if len(steps) == 0 {
		return begin, end, false
	}
	begin, end = steps[0].Time, steps[len(steps)-1].Time
	for _, p := range s.Plan.Phases {
		for _, span := range p.Spans {
			if span.Until.After(end) {
				end = span.Until
			}
		}
	}
	for _, h := range s.Plan.Hours {
		if h.From != nil && h.From.Before(begin) {
			begin = *h.From
		}
	}
	return begin.UTC(), end.UTC(), true
}

func (h hours) name(y float64, text string) {
	h.d.Add(drawing.Label{At: drawing.Point{X: 0, Y: y}, Text: text})
}

// grid draws the round hours through all panels.
func (h hours) grid(top, bottom float64) {
	day := ""
	for _, at := range h.t.marks(13) {
		x := h.t.when(at)
		h.d.Line(drawing.Grid, drawing.Point{X: x, Y: top}, drawing.Point{X: x, Y: bottom})
		h.d.Add(drawing.Label{At: drawing.Point{X: x, Y: bottom + 3}, Anchor: drawing.Middle, Text: at.Format("15:04")})
		if d := at.Format("Mon 2 Jan"); d != day {
			h.d.Add(drawing.Label{At: drawing.Point{X: math.Min(math.Max(x-4, h.t.from), h.t.to-9), Y: bottom + 6.5}, Text: d, Bold: true})
			day = d
		}
	}
	h.name(bottom+3, "UTC")
}

// phases draws the spans of each phase, one hatching for each.
func (h hours) phases(top, high float64) {
	h.name(top+high-1.2, "phase")
	fills := map[string]drawing.Fill{"calm": drawing.Paper, "strong_wind": drawing.Tint, "gale": drawing.Hatch, "storm": drawing.Cross}
	for _, p := range h.Plan.Phases {
		for _, span := range p.Spans {
			x0, x1 := h.t.when(span.From), h.t.when(span.Until)
			h.d.Box(drawing.Outline, fills[p.Name], x0, top, x1-x0, high)
			text := words(p.Name) + ": pay out " + h.Units.Length(p.PayOutM)
			for _, shorter := range []string{words(p.Name), ""} {
				if wide(text) > x1-x0-1 {
					text = shorter
				}
			}
			h.d.Add(drawing.Label{At: drawing.Point{X: (x0 + x1) / 2, Y: top + high - 1.5}, Anchor: drawing.Middle, Bold: true, Clear: p.Name == "gale" || p.Name == "storm", Text: text})
		}
	}
}

// wide is about how wide a text of the usual size is in mm.
func wide(text string) float64 { return 0.55 * drawing.Text * float64(len(text)) }

// steady is a value that holds from one step until the next.
func (h hours) steady(value func(planner.Step) (float64, bool)) [][][2]float64 {
	var runs [][][2]float64
	var run [][2]float64
	steps := h.Request.Forecast.Steps
	for i, s := range steps {
		v, ok := value(s)
		if !ok {
			if len(run) > 0 {
				runs, run = append(runs, run), nil
			}
			continue
		}
		until := h.t.most
		if i+1 < len(steps) {
			until = steps[i+1].Time.Sub(h.t.begin).Hours()
		}
		run = append(run, [2]float64{s.Time.Sub(h.t.begin).Hours(), v}, [2]float64{until, v})
	}
	if len(run) > 0 {
		runs = append(runs, run)
	}
	return runs
}

// barbs draws the wind of each step as on a synoptic chart: the shaft points where it comes from.
func (h hours) barbs(y float64) {
	h.name(y+1, "wind from")
	last := -10.0
	for _, s := range h.Request.Forecast.Steps {
		x := h.t.when(s.Time)
		if s.WindFrom == nil || x-last < 9 {
			continue
		}
		last = x
		barb(h.d, drawing.Point{X: x + 3, Y: y}, s.WindFrom.Radians(), quantity.Knots(s.WindMS), h.south())
	}
}

// south tells whether she is on the southern hemisphere, where the strokes stand on the other side.
func (h hours) south() bool { return h.Request.Position != nil && h.Request.Position.LatitudeDeg < 0 }

// barb draws one: a pennant for 50 kn, a stroke for 10, half a stroke for 5.
func barb(d *drawing.Drawing, at drawing.Point, fromRad, kt float64, south bool) {
	const shaft, apart = 6.5, 1
	stroke := 2.4
	if south {
		stroke = -stroke
	}
	sin, cos := math.Sincos(fromRad)
	place := func(along, across float64) drawing.Point {
		return drawing.Point{X: at.X + along*sin + across*cos, Y: at.Y - along*cos + across*sin}
	}
	half := shaft / 2
	d.Circle(drawing.NoPen, drawing.Solid, place(-half, 0), 0.5)
	d.Line(drawing.Thin, place(-half, 0), place(half, 0))
	left, along := int(math.Round(kt/5)), half
	for ; left >= 10; left -= 10 {
		d.Area(drawing.NoPen, drawing.Solid, place(along, 0), place(along, stroke), place(along-1.2, 0))
		along -= apart + 0.6
	}
	for ; left >= 2; left -= 2 {
		d.Line(drawing.Outline, place(along, 0), place(along+0.6, stroke))
		along -= apart
	}
	if left == 1 {
		if along == half { // alone, it stands off the end
			along -= apart
		}
		d.Line(drawing.Outline, place(along, 0), place(along+0.3, stroke/2))
	}
}

// wind draws mean wind and gusts, and above which she should be lying to it.
func (h hours) wind(top, bottom float64) {
	most := 10.0
	for _, s := range h.Request.Forecast.Steps {
		most = math.Max(most, quantity.Knots(s.WindMS))
		if s.GustMS != nil {
			most = math.Max(most, quantity.Knots(*s.GustMS))
		}
	}
	y := upTo(most*1.02, bottom, top)
	h.panel(y, "wind, kn", 3, "gusts dashed")
	if limit, ok := policy(h.Plan, "deploy before the wind passes"); ok && limit < y.most {
		h.d.Line(drawing.Chain, drawing.Point{X: h.t.from, Y: y.at(limit)}, drawing.Point{X: h.t.to, Y: y.at(limit)})
		h.d.Add(drawing.Label{At: drawing.Point{X: h.t.to, Y: y.at(limit) - 0.8}, Anchor: drawing.End, Size: drawing.Small, Clear: true, Text: "deploy before " + h.Units.Speed(limit)})
	}
	for _, run := range h.steady(func(s planner.Step) (float64, bool) {
		if s.GustMS == nil {
			return 0, false
		}
		return quantity.Knots(*s.GustMS), true
	}) {
		h.d.Line(drawing.Dashed, curve(h.t.axis, y, run)...)
	}
	for _, run := range h.steady(func(s planner.Step) (float64, bool) { return quantity.Knots(s.WindMS), true }) {
		h.d.Line(drawing.Rope, curve(h.t.axis, y, run)...)
	}
}

// sea draws the significant wave height; where none was forecast there is a gap.
func (h hours) sea(top, bottom float64) {
	most, given := 1.0, false
	for _, s := range h.Request.Forecast.Steps {
		if s.HsM != nil {
			most, given = math.Max(most, *s.HsM), true
		}
	}
	y := upTo(most*1.02, bottom, top)
	note := "gap: estimated"
	if !given {
		note = "none forecast"
	}
	h.panel(y, "sea, m", 2, note)
	for _, run := range h.steady(func(s planner.Step) (float64, bool) {
		if s.HsM == nil {
			return 0, false
		}
		return *s.HsM, true
	}) {
		h.d.Line(drawing.Rope, curve(h.t.axis, y, run)...)
	}
}

func (h hours) panel(y axis, name string, ticks int, note string) {
	h.d.Box(drawing.Thin, drawing.NoFill, h.t.from, y.to, h.t.to-h.t.from, y.from-y.to)
	h.name(y.to+2, name)
	h.d.Add(drawing.Label{At: drawing.Point{X: 0, Y: y.to + 5}, Size: drawing.Small, Text: note})
	for _, v := range y.ticks(ticks) {
		h.d.Line(drawing.Grid, drawing.Point{X: h.t.from, Y: y.at(v)}, drawing.Point{X: h.t.to, Y: y.at(v)})
		h.d.Add(drawing.Label{At: drawing.Point{X: h.t.from - 1, Y: y.at(v) + 0.9}, Anchor: drawing.End, Text: measure.Plain(v)})
	}
}

// acts draws what is to be done, one row each.
func (h hours) acts(top float64, list []planner.Hour) {
	if len(list) == 0 {
		h.name(top+3, "to do")
		h.d.Write(drawing.Point{X: h.t.from + 1, Y: top + 3}, drawing.Start, "not computed")
		return
	}
	for i, act := range list {
		y := top + 4*float64(i)
		h.name(y+2.8, act.Action)
		if act.From == nil && act.Until == nil {
			h.d.Add(drawing.Label{At: drawing.Point{X: h.t.from + 1, Y: y + 2.8}, Size: drawing.Small, Text: words(act.Verdict)})
			continue
		}
		from, until := h.t.begin, h.t.begin.Add(time.Duration(h.t.most*float64(time.Hour)))
		if act.From != nil {
			from = *act.From
		}
		if act.Until != nil {
			until = *act.Until
		}
		x0, x1 := h.t.when(from), math.Max(h.t.when(until), h.t.when(from)+1)
		h.d.Box(drawing.Outline, verdictFill(act.Verdict), x0, y+0.5, x1-x0, 2.8)
		text := words(act.Verdict)
		if act.Until != nil {
			text = "by " + measure.Clock(*act.Until) + ", " + text
		}
		if act.Light != "" && act.Light != "unknown" {
			text += ", " + words(act.Light)
		}
		at := drawing.Label{At: drawing.Point{X: x1 + 1, Y: y + 2.8}, Size: drawing.Small, Text: text, Clear: true}
		if x1+1+wide(text) > h.t.to { // to the left of the bar, or within it
			at.At.X, at.Anchor = x0-1, drawing.End
			if at.At.X-wide(text) < h.t.from {
				at.At.X, at.Anchor = x0+1, drawing.Start
			}
		}
		h.d.Add(at)
	}
}

func verdictFill(verdict string) drawing.Fill {
	switch verdict {
	case "too_late":
		return drawing.Cross
	case "not_before", "not_in_forecast":
		return drawing.Hatch
	}
	return drawing.Tint
}

// policy finds a threshold by the name it is printed under.
func policy(p planner.Plan, name string) (float64, bool) {
	for _, item := range p.Policy {
		if item.Name == name {
			return item.Value, true
		}
	}
	return 0, false
}

func hoursWords(s Subject) string {
	text := ""
	for _, p := range s.Plan.Phases {
		text = sentence(text, fmt.Sprintf("%s: wind to %s, sea %s, pay out %s.", words(p.Name), s.Units.Speed(p.WindKt), s.Units.Wave(p.HsM), s.Units.Length(p.PayOutM)))
	}
	for _, h := range s.Plan.Hours {
		text = sentence(text, h.Text)
	}
	return text
}
