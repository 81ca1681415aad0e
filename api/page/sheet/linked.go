package sheet

import (
	"html/template"
	"regexp"
	"slices"
	"strings"
)

// number is a figure in prose, with its unit or the other end of a range, or a time.
var number = regexp.MustCompile(`\d{1,2} [A-Z][a-z]{2} \d{2}:\d{2} UTC|\d[\d.,]*\d?(?: to \d[\d.,]*\d?)?(?: ?(?:(?:kN|N|lbf|kt|kn|mm|m|ft|min|hours|h|degrees|miles|s)\b|%))?`)

// partOfName is what stands before a digit that belongs to a name.
var partOfName = regexp.MustCompile(`[a-z]-?$`)

// spokenOf tells by the word before it what a figure in prose is of.
var spokenOf = []struct{ word, origin string }{
	{"wind", "from-weather"},
	{"gusting", "from-weather"},
	{", sea ", "from-weather"},
	{"canopy", "from-canopy"},
	{"deep", "from-canopy"},
	{"pay out", "from-pay-out"},
	{"paid out", "from-pay-out"},
	{"drifts at", "from-drift"},
	{"drift through", "from-drift"},
	{"steady pull", "from-steady"},
	{"highest load", "from-peak"},
	{"peaks at", "from-peak"},
	{"may be", "from-peak"},
	{"would be at", "from-part"},
	{"governs", "from-part"},
	{"of its capacity", "from-part"},
	{"leg", "from-bridle"},
	{"heading", "from-bridle"},
	{"shore", "from-sea-room"},
	{"hazard", "from-sea-room"},
}

// Linked writes prose with each figure leading to how it came about: what the word before it says, or else the origin
// given.
func (s Sheet) Linked(otherwise, text string) template.HTML {
	var out strings.Builder
	last := 0
	for _, at := range number.FindAllStringIndex(text, -1) {
		before := strings.ToLower(text[:at[0]])
		if strings.HasSuffix(before, "channel ") || partOfName.MatchString(before) {
			continue
		}
		out.WriteString(template.HTMLEscapeString(text[last:at[0]]))
		figure := strings.TrimRight(text[at[0]:at[1]], ".,")
		out.WriteString(`<a href="#` + s.originOf(before, otherwise) + `">` + template.HTMLEscapeString(figure) + `</a>`)
		last = at[0] + len(figure)
	}
	out.WriteString(template.HTMLEscapeString(text[last:]))
	return template.HTML(out.String()) //nolint:gosec // escaped piece by piece
}

// originOf finds the last word before a figure that says what it is of, and for which there is an origin.
func (s Sheet) originOf(before, otherwise string) string {
	found, at := otherwise, -1
	for _, w := range spokenOf {
		if i := strings.LastIndex(before, w.word); i > at && s.explains(w.origin) {
			found, at = w.origin, i
		}
	}
	return found
}

func (s Sheet) explains(id string) bool {
	return slices.ContainsFunc(s.Origins, func(o Origin) bool { return o.ID == id })
}
