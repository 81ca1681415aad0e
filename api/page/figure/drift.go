package figure

import (
	"encoding/json"
	"fmt"
	"math"
	"time"

	"rideout/api/page/drawing"
	"rideout/api/page/measure"
	"rideout/service/physics/coast"
	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
)

// chart is a plane of metres about the start, drawn north up.
type chart struct {
	Subject
	d              *drawing.Drawing
	plane          geo.Plane
	x0, y0, x1, y1 float64 // the frame, mm
	middle         geo.XY
	scale          float64 // mm for each m
	radiusM        float64 // that holds the frame
}

// Drift draws where she will be: the middle track, the areas that contain her, shores and hazards, and where she
// would be with nothing out.
func Drift(s Subject, size Size) (drawing.Drawing, error) {
	const title = "Drift"
	p, room := s.Request.Position, s.Plan.SeaRoom
	if p == nil || room == nil {
		return missing("drift", title, "it needs the vessel's position and the wind's direction", size), nil
	}
	start, err := geo.At(p.LatitudeDeg, p.LongitudeDeg)
	if err != nil {
		return drawing.Drawing{}, fmt.Errorf("draw the drift: %w", err)
	}
	d := drawing.Drawing{Name: "drift", Title: title, Width: size.Width, Height: size.Height, Desc: sentence(room.Text, room.Limits)}
	c := chart{Subject: s, d: &d, plane: geo.NewPlane(start), x0: 0.5, y0: 4.5, x1: size.Width - 0.5, y1: size.Height - 12}
	c.fit()
	if err := c.shores(); err != nil {
		return drawing.Drawing{}, err
	}
	c.areas(room.Containment)
	c.hazards(s.Request.Hazards)
	c.track(room.WithoutAnchor.Track, drawing.Dashed, false)
	c.track(room.Track, drawing.Rope, true)
	c.start()
	c.frame()
	return d, nil
}

// shownNM is how far off the nearest hazard may be for the chart to reach to it.
const shownNM = 40.0

// fit chooses the scale so that track and areas are within the frame, at least a few miles wide.
func (c *chart) fit() {
	const leastM = 3 * quantity.MetresPerNauticalMile
	least, most := geo.XY{}, geo.XY{}
	room := c.Plan.SeaRoom
	for _, collection := range [][]feature{features(room.Track), features(room.Containment), features(room.WithoutAnchor.Track)} {
		for _, f := range collection {
			for _, path := range f.paths {
				for _, p := range path {
					if v, err := c.plane.XY(p); err == nil {
						least.EastM, most.EastM = math.Min(least.EastM, v.EastM), math.Max(most.EastM, v.EastM)
						least.NorthM, most.NorthM = math.Min(least.NorthM, v.NorthM), math.Max(most.NorthM, v.NorthM)
					}
				}
			}
		}
	}
	if h := room.NearestHazard; h != nil && h.DistanceNM <= shownNM { // so that the shore is seen that matters
		sin, cos := math.Sincos(h.BearingDeg * math.Pi / 180)
		far := h.DistanceNM * quantity.MetresPerNauticalMile
		least.EastM, most.EastM = math.Min(least.EastM, far*sin), math.Max(most.EastM, far*sin)
		least.NorthM, most.NorthM = math.Min(least.NorthM, far*cos), math.Max(most.NorthM, far*cos)
	}
	c.middle = geo.XY{EastM: (least.EastM + most.EastM) / 2, NorthM: (least.NorthM + most.NorthM) / 2}
	width, height := math.Max(leastM, 1.25*(most.EastM-least.EastM)), math.Max(leastM, 1.25*(most.NorthM-least.NorthM))
	c.scale = math.Min((c.x1-c.x0)/width, (c.y1-c.y0)/height)
	half := math.Hypot(c.x1-c.x0, c.y1-c.y0) / 2 / c.scale
	c.radiusM = math.Min(half+math.Hypot(c.middle.EastM, c.middle.NorthM), coast.ReachM)
}

func (c chart) paper(v geo.XY) drawing.Point {
	return drawing.Point{X: (c.x0+c.x1)/2 + (v.EastM-c.middle.EastM)*c.scale, Y: (c.y0+c.y1)/2 - (v.NorthM-c.middle.NorthM)*c.scale}
}

// path maps positions onto paper.
func (c chart) path(positions []geo.Point) []drawing.Point {
	var points []drawing.Point
	for _, p := range positions {
		if v, err := c.plane.XY(p); err == nil {
			points = append(points, c.paper(v))
		}
	}
	return points
}

func (c chart) line(pen drawing.Pen, points []drawing.Point) {
	for _, part := range drawing.Clip(points, c.x0, c.y0, c.x1, c.y1) {
		c.d.Line(pen, part...)
	}
}

func (c chart) within(p drawing.Point) bool {
	return p.X > c.x0 && p.X < c.x1 && p.Y > c.y0 && p.Y < c.y1
}

// shores draws the coast and stipples the land.
func (c chart) shores() error {
	lines, err := coast.Near(c.plane, c.radiusM)
	if err != nil {
		return fmt.Errorf("draw the coast: %w", err)
	}
	seen := false
	for _, l := range lines {
		points := make([]drawing.Point, len(l.Points))
		for i, v := range l.Points {
			points[i] = c.paper(v)
			seen = seen || c.within(points[i])
		}
		c.line(drawing.Outline, points)
	}
	if !seen {
		return nil
	}
	const apart = 2.2 // mm
	for y, row := c.y0+apart/2, 0; y < c.y1; y, row = y+apart, row+1 {
		for x := c.x0 + apart/2*float64(1+row%2); x < c.x1; x += apart {
			p, err := c.plane.Point(geo.XY{EastM: c.middle.EastM + (x-(c.x0+c.x1)/2)/c.scale, NorthM: c.middle.NorthM - (y-(c.y0+c.y1)/2)/c.scale})
			if err != nil {
				continue
			}
			if land, err := coast.OnLand(p); err == nil && land {
				c.d.Box(drawing.NoPen, drawing.Solid, x-0.2, y-0.2, 0.4, 0.4)
			}
		}
	}
	return nil
}

// areas draws the areas that contain her: at the end all, with the share of the drifts each holds, and of the hours
// before the widest alone.
func (c chart) areas(collection json.RawMessage) {
	all := features(collection)
	end, widest := 0.0, 0.0
	for _, f := range all {
		end, widest = math.Max(end, f.number("hours")), math.Max(widest, f.number("share"))
	}
	for i, f := range all {
		last := f.number("hours") == end
		if !last && f.number("share") < widest {
			continue
		}
		for _, path := range f.paths {
			points := c.path(path)
			if len(points) < 3 {
				continue
			}
			c.line(drawing.Thin, points)
			sin, cos := math.Sincos(0.6 * float64(i)) // each label farther round
			top := points[0]
			for _, p := range points {
				if p.Y*cos-p.X*sin < top.Y*cos-top.X*sin {
					top = p
				}
			}
			if text := measure.Percent(f.number("share")); last && c.within(top) {
				c.d.Add(drawing.Label{At: drawing.Point{X: top.X, Y: top.Y - 0.6}, Anchor: drawing.Middle, Size: drawing.Small, Text: text, Clear: true})
			}
		}
	}
}

// hazards draws what the user gave, as a chart marks dangers: a dotted outline, a cross for a rock.
func (c chart) hazards(collection []byte) {
	for _, f := range features(collection) {
		for _, path := range f.paths {
			points := c.path(path)
			if len(points) == 0 || !c.within(points[0]) && len(points) == 1 {
				continue
			}
			at := points[0]
			if len(points) == 1 {
				c.d.Line(drawing.Outline, drawing.Point{X: at.X - 1.2, Y: at.Y}, drawing.Point{X: at.X + 1.2, Y: at.Y})
				c.d.Line(drawing.Outline, drawing.Point{X: at.X, Y: at.Y - 1.2}, drawing.Point{X: at.X, Y: at.Y + 1.2})
				c.d.Circle(drawing.Dotted, drawing.NoFill, at, 2)
			}
			c.line(drawing.Dotted, points)
			if text := f.text("name"); text != "" && c.within(at) {
				c.d.Add(drawing.Label{At: drawing.Point{X: at.X + 2.6, Y: at.Y + 1}, Text: text, Clear: true})
			}
		}
	}
}

// track draws a track, and its hours where they are given.
func (c chart) track(collection json.RawMessage, pen drawing.Pen, hours bool) {
	for _, f := range features(collection) {
		var points []drawing.Point
		for _, path := range f.paths {
			part := c.path(path)
			c.line(pen, part)
			points = append(points, part...)
		}
		if times := f.times("times"); hours && len(times) > 0 && len(times) == len(points) { // a track cut at the date line has points beside its times
			c.clock(points, times)
		}
	}
}

// clock marks a track at round hours, no closer than labels stand apart.
func (c chart) clock(points []drawing.Point, times []time.Time) {
	every := 6 * time.Hour
	if n := len(times); n > 1 && times[n-1].Sub(times[0]) > 48*time.Hour {
		every = 24 * time.Hour
	}
	last := points[0]
	for i, at := range times {
		p := points[i]
		if i == 0 || !at.Equal(at.Truncate(every)) || !c.within(p) || math.Hypot(p.X-last.X, p.Y-last.Y) < 4 {
			continue
		}
		last = p
		c.d.Circle(drawing.Outline, drawing.Paper, p, 0.9)
		c.d.Add(drawing.Label{At: drawing.Point{X: p.X + 1.6, Y: p.Y + 1}, Size: drawing.Small, Text: measure.Clock(at), Clear: true})
	}
}

func (c chart) start() {
	at := c.paper(geo.XY{})
	c.d.Circle(drawing.Outline, drawing.Paper, at, 1.4)
	c.d.Circle(drawing.NoPen, drawing.Solid, at, 0.5)
	p := c.Request.Position
	c.d.Add(drawing.Label{At: drawing.Point{X: at.X + 1.5, Y: at.Y + 4}, Bold: true, Clear: true, Text: "start " + measure.Position(p.LatitudeDeg, p.LongitudeDeg)})
}

// frame draws the neat line, north, the scale and the key.
func (c chart) frame() {
	d := c.d
	d.Add(drawing.Label{At: drawing.Point{X: 0, Y: 3}, Bold: true, Text: "WHERE SHE WILL BE, north up"})
	d.Box(drawing.Outline, drawing.NoFill, c.x0, c.y0, c.x1-c.x0, c.y1-c.y0)
	north := drawing.Point{X: c.x1 - 5, Y: c.y0 + 12}
	d.Arrow(drawing.Outline, north, drawing.Point{X: north.X, Y: c.y0 + 4})
	d.Add(drawing.Label{At: drawing.Point{X: north.X, Y: c.y0 + 3.2}, Anchor: drawing.Middle, Bold: true, Clear: true, Text: "N"})
	miles := roundStep((c.x1 - c.x0) / 5 / c.scale / quantity.MetresPerNauticalMile)
	w := miles * quantity.MetresPerNauticalMile * c.scale
	y := c.y1 + 3.6
	d.Line(drawing.Outline, drawing.Point{X: c.x0, Y: y - 1.6}, drawing.Point{X: c.x0, Y: y}, drawing.Point{X: c.x0 + w, Y: y}, drawing.Point{X: c.x0 + w, Y: y - 1.6})
	d.Add(drawing.Label{At: drawing.Point{X: c.x0 + w + 1.5, Y: y}, Text: measure.Miles(miles)})
	c.key(c.y1 + 8.4)
}

// key explains the lines. Where the paper is narrow it says only what is most needed.
func (c chart) key(y float64) {
	x := c.x0
	for _, k := range []struct {
		pen  drawing.Pen
		text string
	}{{drawing.Rope, "on the sea anchor"}, {drawing.Dashed, "with nothing out"}, {drawing.Thin, "holds that share of drifts"}, {drawing.Outline, "shore, land dotted"}} {
		if x+7+wide(k.text) > c.x1 {
			return
		}
		c.d.Line(k.pen, drawing.Point{X: x, Y: y - 0.8}, drawing.Point{X: x + 6, Y: y - 0.8})
		c.d.Add(drawing.Label{At: drawing.Point{X: x + 7, Y: y}, Size: drawing.Small, Text: k.text})
		x += 10 + wide(k.text)
	}
}
