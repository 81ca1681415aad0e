package drawing_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"rideout/api/page/drawing"
)

func sample() drawing.Drawing {
	d := drawing.Drawing{Name: "rig", Title: `A "rig" & more`, Desc: "Less < more", Width: 100, Height: 50}
	d.Line(drawing.Rope, drawing.Point{X: 1, Y: 2}, drawing.Point{X: 3.14159, Y: 4})
	d.Box(drawing.Outline, drawing.Hatch, 10, 10, 5, 5)
	d.Dimension(drawing.Point{X: 0, Y: 40}, drawing.Point{X: 100, Y: 40}, "100 m")
	d.Add(drawing.Label{At: drawing.Point{X: 5, Y: 5}, Text: "<script>", Anchor: drawing.End, Turn: 90, Bold: true})
	return d
}

func TestSVGIsWellFormedNamedAndWithoutScript(t *testing.T) {
	t.Parallel()
	for name, write := range map[string]func(drawing.Drawing) ([]byte, error){"alone": drawing.SVG, "inline": drawing.Inline} {
		body, err := write(sample())
		if err != nil {
			t.Fatal(err)
		}
		texts := map[string]string{}
		for d, at := xml.NewDecoder(bytes.NewReader(body)), ""; ; {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v in\n%s", name, err, body)
			}
			switch token := token.(type) {
			case xml.StartElement:
				at = token.Name.Local
				texts[at] += ""
			case xml.CharData:
				texts[at] += string(token)
			}
		}
		if got := strings.TrimSpace(texts["title"]); got != `A "rig" & more` {
			t.Errorf("%s: title %q", name, got)
		}
		if got := strings.TrimSpace(texts["desc"]); got != "Less < more" {
			t.Errorf("%s: desc %q", name, got)
		}
		if !strings.Contains(texts["text"], "<script>") || !strings.Contains(texts["text"], "100 m") {
			t.Errorf("%s: labels are not text: %q", name, texts["text"])
		}
		if _, there := texts["script"]; there {
			t.Errorf("%s has a script", name)
		}
		if _, styled := texts["style"]; styled != (name == "alone") {
			t.Errorf("%s: a style sheet of its own %v", name, styled)
		}
		for _, want := range []string{`id="rig-title"`, `aria-labelledby="rig-title rig-desc"`, "M1 2L3.14 4", `fill="url(#rig-hatch)"`} {
			if !bytes.Contains(body, []byte(want)) {
				t.Errorf("%s lacks %s", name, want)
			}
		}
	}
}

// A line is told without colour: pens differ in width or dashes in the style sheet as they do in print.
func TestPensDifferWithoutColour(t *testing.T) {
	t.Parallel()
	seen := map[string]drawing.Pen{}
	for _, pen := range []drawing.Pen{drawing.Outline, drawing.Thin, drawing.Grid, drawing.Rope, drawing.Dashed, drawing.Chain, drawing.Dotted} {
		_, rule, found := strings.Cut(drawing.Style(), ".drawing .pen-"+string(pen)+" {")
		if !found {
			t.Fatalf("no rule for %s", pen)
		}
		rule, _, _ = strings.Cut(rule, "}")
		_, look, _ := strings.Cut(rule, ";") // after the colour
		if other, same := seen[look]; same {
			t.Errorf("%s looks like %s but for its colour: %s", pen, other, look)
		}
		seen[look] = pen
	}
}

func TestClip(t *testing.T) {
	t.Parallel()
	p := func(x, y float64) drawing.Point { return drawing.Point{X: x, Y: y} }
	for name, c := range map[string]struct {
		line []drawing.Point
		want string
	}{
		"within":          {[]drawing.Point{p(1, 1), p(9, 9)}, "[[{1 1} {9 9}]]"},
		"out and in":      {[]drawing.Point{p(5, 5), p(15, 5), p(15, 6), p(5, 6)}, "[[{5 5} {10 5}] [{10 6} {5 6}]]"},
		"through":         {[]drawing.Point{p(-5, 5), p(15, 5)}, "[[{0 5} {10 5}]]"},
		"outside":         {[]drawing.Point{p(-5, -5), p(-5, 20)}, "[]"},
		"past the corner": {[]drawing.Point{p(-5, 4), p(4, -5)}, "[]"},
		"one point":       {[]drawing.Point{p(5, 5)}, "[]"},
	} {
		if got := fmt.Sprint(drawing.Clip(c.line, 0, 0, 10, 10)); got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
}

func TestArcKeepsItsRadius(t *testing.T) {
	t.Parallel()
	for _, q := range drawing.Arc(drawing.Point{X: 3, Y: 4}, 2, 2, 0, 360) {
		if r := math.Hypot(q.X-3, q.Y-4); math.Abs(r-2) > 1e-12 {
			t.Errorf("a point of the circle is %g from its centre, want 2", r)
		}
	}
}
