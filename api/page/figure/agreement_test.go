package figure_test

import (
	"strings"
	"testing"

	"rideout/api/page/drawing"
	"rideout/api/page/figure"
	"rideout/service/physics/quantity"
)

func agreement(mates ...figure.Mate) drawing.Drawing {
	return figure.Agreement("agreement", "drift", "kn", mates, figure.Size{Width: 95, Height: 95})
}

// What was observed outside its band has another form than what lies inside, not another colour.
func TestAgreementTellsInsideByForm(t *testing.T) {
	t.Parallel()
	band := quantity.Band{Low: 0.8, Mid: 1, High: 1.5}
	count := func(d drawing.Drawing) (rings, triangles int) {
		for _, m := range d.Marks {
			if s, ok := m.(drawing.Shape); ok && s.Closed && s.Pen == drawing.Outline {
				switch {
				case s.Fill == drawing.Paper:
					rings++
				case s.Fill == drawing.Solid && len(s.Points) == 3:
					triangles++
				}
			}
		}
		return rings, triangles
	}
	d := agreement(figure.Mate{Predicted: band, Observed: 0.8}, figure.Mate{Predicted: band, Observed: 1.5}, figure.Mate{Predicted: band, Observed: 1.51}, figure.Mate{Predicted: band, Observed: 0.79})
	if rings, triangles := count(d); rings != 3 || triangles != 3 { // one of each is the key's
		t.Errorf("%d rings and %d triangles, want 3 and 3", rings, triangles)
	}
	if !strings.Contains(d.Desc, "Of 4 observed, 2 lie inside") || !strings.Contains(d.Desc, "is 1.15") { // of 0.79, 0.8, 1.5, 1.51
		t.Errorf("described as %q", d.Desc)
	}
}

// The line of equal figures runs through the corners of a square field, and every mark lies in it.
func TestAgreementKeepsToItsField(t *testing.T) {
	t.Parallel()
	d := agreement(figure.Mate{Predicted: quantity.Band{Low: 1, Mid: 2, High: 9}, Observed: 12}, figure.Mate{Predicted: quantity.Band{}, Observed: 0})
	for _, m := range d.Marks {
		s, ok := m.(drawing.Shape)
		if !ok {
			continue
		}
		for _, p := range s.Points {
			if !(p.X >= 0 && p.X <= d.Width && p.Y >= 0 && p.Y <= d.Height) {
				t.Errorf("a mark at %v leaves the paper of %g x %g", p, d.Width, d.Height)
			}
		}
	}
	if empty := agreement(); !strings.Contains(empty.Desc, "nothing was observed yet") {
		t.Errorf("with nothing observed: %q", empty.Desc)
	}
}
