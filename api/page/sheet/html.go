package sheet

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"html/template"
	"strings"

	"rideout/api/page/drawing"
	"rideout/api/page/figure"
	"rideout/service/planner"
)

//go:embed sheet.gohtml
var sheetTemplate string

//go:embed working.gohtml
var workingTemplate string

//go:embed sheet.css
var sheetStyle string

// Page is a document of HTML or SVG and the Content-Security-Policy it is sent with.
type Page struct {
	Body   []byte
	Policy string
}

var pages = template.Must(template.Must(template.New("sheet").Funcs(template.FuncMap{
	"figure": Figure, "stacked": stacked, "ended": ended, "upper": strings.ToUpper, "rows": func(n int) []int { return make([]int, n) },
}).Parse(workingTemplate)).Parse(sheetTemplate))

// slackMM is left on a page that a browser prints: it spaces a little wider than the PDF.
const slackMM = 6.0

// paged is a sheet as a page.
type paged struct {
	Sheet
	Style   template.CSS
	Figures map[string]template.HTML
	Fit     fit
}

// Stages is the page with the work alone that stands on its first part, or on its second.
func (p paged) Stages(first bool) paged {
	if first {
		p.Steps = p.onFirst(p.Fit)
	} else {
		p.Steps = p.onSecond(p.Fit)
	}
	return p
}

// HTML writes the sheet as a page: two printed ones, and for the screen the other drawings and how each
// figure came about.
func (s Sheet) HTML() (Page, error) {
	set := fitted(s, Paper{Letter.Width, Letter.Height - slackMM})                                                  // the shorter paper: what fits it fits both
	contents := paged{s, template.CSS(drawing.Style() + sheetStyle + set.style()), map[string]template.HTML{}, set} //nolint:gosec // our own files
	drawings, err := s.drawings(set)
	if err != nil {
		return Page{}, err
	}
	for _, drawn := range drawings {
		inline, err := drawing.Inline(drawn)
		if err != nil {
			return Page{}, err
		}
		contents.Figures[drawn.Name] = template.HTML(inline) //nolint:gosec // escaped where it was drawn
	}
	return page("sheet", contents)
}

// drawings are those for the screen, and the two of the printed page once more at the size they have there.
func (s Sheet) drawings(set fit) ([]drawing.Drawing, error) {
	var list []drawing.Drawing
	for _, name := range figure.Names() {
		drawn, err := figure.Named(name, s.Subject)
		if err != nil {
			return nil, err
		}
		list = append(list, drawn)
	}
	rig := figure.Rig(s.Subject, figure.Size{Width: blockWidth, Height: set.Rig})
	rig.Name = "printed-rig"
	list = append(list, rig)
	if set.Hours > 0 {
		hours := figure.Hours(s.Subject, figure.Size{Width: blockWidth, Height: set.Hours})
		hours.Name = "printed-hours"
		list = append(list, hours)
	}
	return list, nil
}

// WorkingHTML writes the working of a plan as a page.
func WorkingHTML(planID string, working []byte) (Page, error) {
	var steps []planner.WorkingStep
	if err := json.Unmarshal(working, &steps); err != nil {
		return Page{}, fmt.Errorf("read the kept working: %w", err)
	}
	return page("working-page", struct {
		ID       string
		Style    template.CSS
		Cautions []string
		Working  []WorkingStep
	}{planID, template.CSS(sheetStyle), planner.Cautions, numbered(steps)}) //nolint:gosec // our own file
}

// Drawing writes one figure of a plan as SVG.
func Drawing(name string, s figure.Subject) (Page, error) {
	drawn, err := figure.Named(name, s)
	if err != nil {
		return Page{}, err
	}
	body, err := drawing.SVG(drawn)
	return Page{body, policy(body)}, err
}

// stacked sets one unit below the other.
func stacked(text string) template.HTML {
	return template.HTML(strings.ReplaceAll(template.HTMLEscapeString(text), " / ", "<br>")) //nolint:gosec // escaped
}

func page(name string, contents any) (Page, error) {
	var out bytes.Buffer
	if err := pages.ExecuteTemplate(&out, name, contents); err != nil {
		return Page{}, fmt.Errorf("render the %s: %w", name, err)
	}
	return Page{out.Bytes(), policy(out.Bytes())}, nil
}

// policy allows the document's own style sheet and nothing else.
func policy(body []byte) string {
	_, style, _ := bytes.Cut(body, []byte("<style>"))
	style, _, _ = bytes.Cut(style, []byte("</style>"))
	sum := sha256.Sum256(style)
	return "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
}
