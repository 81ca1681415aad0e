package page

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"slices"
)

//go:embed guides.gohtml
var guidesTemplate string

// Guide is a getting-started for one kind of caller.
type Guide struct{ Name, Title string }

// Guides lists them in the order they are shown.
func Guides() []Guide {
	return []Guide{
		{"skipper", "For a skipper or trainer"},
		{"dashboard", "For a charter fleet's dashboard"},
		{"booking", "For a school's booking system"},
		{"rescue", "For a rescue coordinator on a slow line"},
	}
}

// guide renders one getting-started. Its body is the template of its name.
func guide(pages *template.Template, g Guide, common docsContents) ([]byte, error) {
	var body, out bytes.Buffer
	if err := pages.ExecuteTemplate(&body, g.Name, nil); err != nil {
		return nil, fmt.Errorf("render the guide %s: %w", g.Name, err)
	}
	contents := struct {
		docsContents
		Guide Guide
		Body  template.HTML
	}{common, g, template.HTML(body.String())} //nolint:gosec // our own file
	if err := pages.ExecuteTemplate(&out, "guide", contents); err != nil {
		return nil, fmt.Errorf("render the guide %s: %w", g.Name, err)
	}
	return out.Bytes(), nil
}

// Guide gives the page of a getting-started, nil for a name there is none of.
func (d Docs) Guide(name string) []byte {
	i := slices.IndexFunc(Guides(), func(g Guide) bool { return g.Name == name })
	if i < 0 {
		return nil
	}
	return d.guides[i]
}
