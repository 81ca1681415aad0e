package drawing

import (
	"bytes"
	_ "embed"
	"fmt"
	"html"
	"strconv"
	"strings"
	"text/template"
)

//go:embed drawing.css
var style string

//go:embed drawing.gosvg
var svgTemplate string

// Style is the style sheet of the drawings, for a page that shows them inline.
func Style() string { return style }

var svg = template.Must(template.New("svg").Funcs(template.FuncMap{
	"escape": html.EscapeString, "n": mm, "path": pathOf, "kind": kindOf, "size": func(l Label) string { return mm(l.size()) },
}).Parse(svgTemplate))

// SVG writes the drawing as a document of its own, which is dark where the reader's screen is.
func SVG(d Drawing) ([]byte, error) { return write(d, style) }

// Inline writes the drawing to stand in a page that has Style.
func Inline(d Drawing) ([]byte, error) { return write(d, "") }

func write(d Drawing, style string) ([]byte, error) {
	var out bytes.Buffer
	err := svg.Execute(&out, struct {
		Drawing
		Style string
	}{d, style})
	if err != nil {
		return nil, fmt.Errorf("draw %s: %w", d.Name, err)
	}
	return out.Bytes(), nil
}

// mm writes a length to a hundredth of a millimetre.
func mm(v float64) string {
	text := strings.TrimRight(strings.TrimRight(strconv.FormatFloat(v, 'f', 2, 64), "0"), ".")
	if text == "-0" {
		return "0"
	}
	return text
}

func pathOf(s Shape) string {
	var b strings.Builder
	for i, p := range s.Points {
		command := "L"
		if i == 0 {
			command = "M"
		}
		b.WriteString(command + mm(p.X) + " " + mm(p.Y))
	}
	if s.Closed {
		b.WriteString("Z")
	}
	return b.String()
}

func kindOf(m Mark) string {
	if _, ok := m.(Label); ok {
		return "label"
	}
	return "shape"
}

func (l Label) size() float64 {
	if l.Size == 0 {
		return Text
	}
	return l.Size
}
