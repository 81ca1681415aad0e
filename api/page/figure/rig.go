package figure

import (
	"fmt"
	"math"
	"strings"

	"rideout/api/page/drawing"
	"rideout/api/page/measure"
	"rideout/service/planner"
)

// rigging is what the views of the rig share.
type rigging struct {
	Subject
	d      *drawing.Drawing
	hull   outline
	scale  float64 // mm of paper for each m, of both near views
	legs   legs
	canopy planner.CanopyAdvice
}

// inflated is the diameter of the filled canopy over the nominal one, which is that of the cloth laid flat: about two
// thirds for a flat circular canopy (Knacke 1992, from memory). For looks alone.
const inflated = 0.67

// leastWhole is the height from which on the whole is drawn, too, mm.
const leastWhole = 70.0

// Rig draws the rig from the side and from above, near parts to one scale with the rode broken, and the
// whole to a smaller one beside the wave.
func Rig(s Subject, size Size) drawing.Drawing {
	d := drawing.Drawing{
		Name: "rig", Title: "Rig of " + s.Plan.VesselName, Desc: rigWords(s), Width: size.Width, Height: size.Height,
	}
	r := rigging{Subject: s, d: &d, hull: outlineOf(s.Request.Vessel), legs: legsOf(s), canopy: s.Plan.Canopy}
	strip := 20.0
	if size.Height < leastWhole { // the near views need what there is
		strip = 0
	}
	side := 0.58 * (size.Height - strip)
	above := size.Height - strip - side
	r.scale = r.fitted(size.Width, side, above)
	r.side(Size{size.Width, side})
	r.above(side, Size{size.Width, above})
	if strip > 0 {
		r.whole(side+above, Size{size.Width, strip})
	}
	return d
}

// fitted is the largest scale at which both near views fit.
func (r rigging) fitted(width, side, above float64) float64 {
	v, c := r.Request.Vessel, r.canopy
	across := (width - 88) / (v.LOAM + r.legs.aheadM + inflated*c.UsedDiameterM)
	up := (side - 13) / (r.hull.airDraughtM(v) + math.Max(v.DraughtM, c.DepthM+inflated*c.UsedDiameterM/2))
	least, most := r.legs.acrossM(v, c.UsedDiameterM)
	beam := (above - 8) / (most - least)
	return math.Min(math.Min(across, up), math.Min(beam, 40/v.LOAM))
}

// side draws the view from the side, wind from the right.
func (r rigging) side(size Size) {
	d, v, k := r.d, r.Request.Vessel, r.scale
	water := 5 + r.hull.airDraughtM(v)*k
	stem := drawing.Point{X: 4 + v.LOAM*k, Y: water}
	r.title(drawing.Point{X: 0, Y: 3}, "FROM THE SIDE")
	d.Line(drawing.Thin, drawing.Point{X: 0, Y: water}, drawing.Point{X: size.Width, Y: water})
	r.hull.drawSide(d, v, stem, k)
	r.windArrow(0, "wind and sea")
	if deg := r.legs.heading * 180 / math.Pi; math.Abs(deg) > 15 {
		d.Add(drawing.Label{At: drawing.Point{X: 28, Y: 3}, Size: drawing.Small, Text: "she is turned bow to the wind for this view; below she lies as she will"})
	}

	radius := inflated * r.canopy.UsedDiameterM / 2 * k
	centre := drawing.Point{X: size.Width - 46 - radius, Y: water + r.canopy.DepthM*k}
	deck := func(aftM float64) drawing.Point {
		return drawing.Point{X: stem.X - aftM*k, Y: water - 1.05*freeboardM(v)*k}
	}
	meets := deck(0)
	if r.legs.two() {
		meets = drawing.Point{X: stem.X + math.Max(r.legs.aheadM*k, 6), Y: water - 0.35*freeboardM(v)*k}
		d.Line(drawing.Rope, deck(r.legs.aft.FromBowM), meets)
	}
	d.Line(drawing.Rope, deck(r.legs.fore.FromBowM), meets)
	throat := drawing.Point{X: centre.X - 2.2*radius - 2, Y: centre.Y}
	r.broken(meets, throat)
	r.drawCanopy(centre, throat, radius)
	r.float(centre, radius, water)
	r.depth(centre, radius, water)
	middle := drawing.Point{X: (meets.X + throat.X) / 2, Y: (meets.Y + throat.Y) / 2}
	r.rodeLabels(middle, throat, size.Height)
	r.strongPoint(deck(r.legs.fore.FromBowM))
	r.ruler(drawing.Point{X: 2, Y: size.Height - 1.5})
}

func (r rigging) windArrow(top float64, text string) {
	right := r.d.Width
	r.d.Add(drawing.Label{At: drawing.Point{X: right, Y: top + 3}, Anchor: drawing.End, Text: text})
	r.d.Arrow(drawing.Outline, drawing.Point{X: right, Y: top + 5}, drawing.Point{X: right - 20, Y: top + 5})
}

func (r rigging) title(at drawing.Point, text string) {
	r.d.Add(drawing.Label{At: at, Text: text, Bold: true})
}

// broken draws the rode with the break of drafting practice: its length is not to scale.
func (r rigging) broken(from, to drawing.Point) {
	at := func(share float64) drawing.Point {
		return drawing.Point{X: from.X + share*(to.X-from.X), Y: from.Y + share*(to.Y-from.Y)}
	}
	r.d.Line(drawing.Rope, from, at(0.46))
	r.d.Line(drawing.Rope, at(0.54), to)
	for _, share := range []float64{0.46, 0.54} {
		p := at(share)
		r.d.Line(drawing.Thin, drawing.Point{X: p.X + 1, Y: p.Y - 3}, drawing.Point{X: p.X + 0.3, Y: p.Y - 0.7}, drawing.Point{X: p.X + 1.2, Y: p.Y - 0.3}, drawing.Point{X: p.X - 1.2, Y: p.Y + 0.3}, drawing.Point{X: p.X - 0.3, Y: p.Y + 0.7}, drawing.Point{X: p.X - 1, Y: p.Y + 3})
	}
}

// drawCanopy draws the filled canopy with its mouth to the vessel, and its shroud lines.
func (r rigging) drawCanopy(centre, throat drawing.Point, radius float64) {
	for _, y := range []float64{-1, -0.6, -0.2, 0.2, 0.6, 1} {
		r.d.Line(drawing.Thin, throat, drawing.Point{X: centre.X - 0.25*radius, Y: centre.Y + y*radius})
	}
	dome := drawing.Arc(drawing.Point{X: centre.X - 0.25*radius, Y: centre.Y}, 0.95*radius, radius, -90, 90)
	r.d.Area(drawing.Outline, drawing.Hatch, dome...)
	r.d.Circle(drawing.Outline, drawing.Paper, throat, 0.8)
}

// float draws the trip line from the crown to its float, where they are carried.
func (r rigging) float(centre drawing.Point, radius, water float64) {
	g := r.Request.Gear
	crown := drawing.Point{X: centre.X + 0.7*radius, Y: centre.Y}
	end := drawing.Point{X: crown.X + 12, Y: water - 0.6}
	if g == nil || g.TripLine == nil {
		r.d.Write(drawing.Point{X: crown.X + 2, Y: crown.Y + 1}, drawing.Start, "no trip line")
		return
	}
	knee := drawing.Point{X: (crown.X + end.X) / 2, Y: crown.Y + 1.5}
	r.d.Line(drawing.Dotted, crown, knee, end)
	length := r.Units.Length(g.TripLine.LengthM)
	if r.d.Height < leastWhole { // the canopy's name stands close below
		r.d.Write(drawing.Point{X: end.X + 1.5, Y: water + 3.6}, drawing.Start, "trip line "+length)
	} else {
		r.d.Write(drawing.Point{X: end.X + 1.5, Y: water + 3.6}, drawing.Start, "trip line")
		r.d.Write(drawing.Point{X: end.X + 1.5, Y: water + 6.9}, drawing.Start, length)
	}
	if g.Float == nil {
		r.d.Write(drawing.Point{X: end.X + 2.5, Y: water - 1.2}, drawing.Start, "no float")
		return
	}
	r.d.Circle(drawing.Outline, drawing.Paper, end, 1.5)
	r.d.Write(drawing.Point{X: end.X + 2.5, Y: water - 1.2}, drawing.Start, "float "+r.Units.Force(g.Float.BuoyancyN))
}

func (r rigging) depth(centre drawing.Point, radius, water float64) {
	x := centre.X - 0.9*radius - 1
	r.d.Line(drawing.Thin, drawing.Point{X: x - 1, Y: centre.Y}, drawing.Point{X: centre.X, Y: centre.Y})
	from, to := drawing.Point{X: x, Y: water}, drawing.Point{X: x, Y: centre.Y}
	if centre.Y-water > 7 {
		r.d.Dimension(from, to, r.Units.Length(r.canopy.DepthM))
		return
	}
	r.d.Arrow(drawing.Thin, from, to)
	r.d.Add(drawing.Label{At: drawing.Point{X: x - 1.5, Y: water - 1}, Anchor: drawing.End, Text: "depth " + r.Units.Length(r.canopy.DepthM), Clear: true})
}

// rodeLabels names what lies between vessel and canopy.
func (r rigging) rodeLabels(middle, throat drawing.Point, bottom float64) {
	d, rode := r.d, r.Plan.Rode
	d.Add(drawing.Label{At: drawing.Point{X: middle.X, Y: middle.Y - 5}, Anchor: drawing.Middle, Size: drawing.Large, Bold: true, Clear: true, Text: "rode " + r.Units.Length(rode.PayOutM)})
	d.Add(drawing.Label{At: drawing.Point{X: middle.X - 1, Y: middle.Y + 5}, Anchor: drawing.End, Clear: true, Text: fmt.Sprintf("%s %s nylon, not to scale", measure.Diameter(rode.DiameterMM), words(rode.Construction))})
	d.Add(drawing.Label{At: drawing.Point{X: throat.X + 2, Y: bottom - 5}, Text: fmt.Sprintf("canopy %s, %s", r.Units.Length(r.canopy.UsedDiameterM), words(r.canopy.Shape))})
	if metal := hardware(r.Subject); metal != "" {
		d.Add(drawing.Label{At: drawing.Point{X: throat.X + 2, Y: bottom - 1.5}, Size: drawing.Small, Text: metal})
		d.Line(drawing.Thin, throat, drawing.Point{X: throat.X + 1, Y: bottom - 2.4}, drawing.Point{X: throat.X + 1.8, Y: bottom - 2.4})
	}
}

func (r rigging) strongPoint(at drawing.Point) {
	r.d.Circle(drawing.Outline, drawing.Paper, at, 0.7)
}

// ruler draws the scale of the near views.
func (r rigging) ruler(at drawing.Point) {
	long := 5.0
	if long*r.scale > 45 {
		long = 2
	}
	w := long * r.scale
	r.d.Line(drawing.Thin, drawing.Point{X: at.X, Y: at.Y - 1.2}, at, drawing.Point{X: at.X + w, Y: at.Y}, drawing.Point{X: at.X + w, Y: at.Y - 1.2})
	r.d.Add(drawing.Label{At: drawing.Point{X: at.X + w + 1.5, Y: at.Y}, Size: drawing.Small, Text: r.Units.Length(long) + ", vessel, legs and canopy"})
}

// hardware names the metal at the canopy.
func hardware(s Subject) string {
	g := s.Request.Gear
	if g == nil {
		return ""
	}
	var parts []string
	for _, shackle := range g.Shackles {
		parts = append(parts, "shackle "+measure.Diameter(shackle.BodyMM))
	}
	if len(g.Swivels) > 0 {
		parts = append(parts, "swivel")
	}
	if c := g.Chain; c != nil {
		parts = append(parts, fmt.Sprintf("%s of %s chain", s.Units.Length(c.LengthM), measure.Diameter(c.SizeMM)))
	}
	return strings.Join(parts, ", ")
}

// rigWords says what the drawing shows.
func rigWords(s Subject) string {
	p := s.Plan
	text := fmt.Sprintf("%s of rode from the vessel to a canopy of %s that hangs %s deep.", s.Units.Length(p.Rode.PayOutM), s.Units.Length(p.Canopy.UsedDiameterM), s.Units.Length(p.Canopy.DepthM))
	bridle := ""
	if p.Bridle != nil {
		bridle = p.Bridle.Text
	}
	return sentence("The rig from the side and from above.", text, bridle)
}
