// Package figure draws what a plan says: the rig, peak load against length of rode, the hours, and the
// drift. Each figure is a function of the plan, of what it was asked for, and of the size of the paper.
package figure

import (
	"errors"
	"slices"
	"strings"

	"rideout/api/page/drawing"
	"rideout/api/page/measure"
	"rideout/service/planner"
)

// Subject is what is drawn.
type Subject struct {
	Plan    planner.Plan
	Request planner.Request
	Units   measure.Units
}

// Size is that of the paper in mm.
type Size struct{ Width, Height float64 }

// ErrUnknown says that there is no figure of a name.
var ErrUnknown = errors.New("no such figure")

// Names lists the figures.
func Names() []string { return []string{"rig", "peak", "hours", "drift"} }

// Known tells whether there is a figure of a name.
func Known(name string) bool { return slices.Contains(Names(), name) }

// Named draws a figure at the size it is shown at on a screen.
func Named(name string, s Subject) (drawing.Drawing, error) {
	switch name {
	case "rig":
		return Rig(s, Size{190, 112}), nil
	case "peak":
		return Peak(s, Size{190, 105}), nil
	case "hours":
		return Hours(s, Size{190, 110}), nil
	case "drift":
		return Drift(s, Size{190, 150})
	}
	return drawing.Drawing{}, ErrUnknown
}

// words writes a name of the contract as words.
func words(name string) string { return strings.ReplaceAll(name, "_", " ") }

// sentence joins what is not empty.
func sentence(parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, " ")
}

// missing draws a frame that says why there is nothing to see.
func missing(name, title, why string, size Size) drawing.Drawing {
	d := drawing.Drawing{Name: name, Title: title, Desc: "Not computed: " + why, Width: size.Width, Height: size.Height}
	d.Box(drawing.Thin, drawing.NoFill, 0.5, 0.5, size.Width-1, size.Height-1)
	d.Add(drawing.Label{At: drawing.Point{X: size.Width / 2, Y: size.Height/2 - 2}, Anchor: drawing.Middle, Bold: true, Text: title + ": not computed"})
	d.Add(drawing.Label{At: drawing.Point{X: size.Width / 2, Y: size.Height/2 + 2.5}, Anchor: drawing.Middle, Text: why})
	return d
}
