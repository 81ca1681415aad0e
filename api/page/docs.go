// Package page makes what people look at: documents from templates, embedded, with no build step and
// no request to elsewhere.
package page

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
)

//go:embed docs.gohtml
var docsTemplate string

//go:embed docs.css
var docsStyle string

// Docs is the contract as a page, a getting-started for each kind of caller, and the Content-Security-Policy all are sent with.
type Docs struct {
	HTML   []byte
	Policy string
	guides [][]byte // in the order of Guides
}

// NewDocs renders the contract with the cautions above it.
func NewDocs(doc *openapi3.T, cautions []string) (Docs, error) {
	pages, err := template.New("docs").Funcs(template.FuncMap{"prose": prose}).Parse(docsTemplate + guidesTemplate)
	if err != nil {
		return Docs{}, fmt.Errorf("read the template of the docs: %w", err)
	}
	var out bytes.Buffer
	said := contents(doc, cautions)
	if err := pages.Execute(&out, said); err != nil {
		return Docs{}, fmt.Errorf("render the docs: %w", err)
	}
	made := Docs{HTML: out.Bytes()}
	for _, g := range Guides() {
		page, err := guide(pages, g, said)
		if err != nil {
			return Docs{}, err
		}
		made.guides = append(made.guides, page)
	}
	_, style, _ := strings.Cut(out.String(), "<style>")
	style, _, _ = strings.Cut(style, "</style>")
	sum := sha256.Sum256([]byte(style))
	made.Policy = "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
	return made, nil
}

type docsContents struct {
	Title, Version, Description string
	Style                       template.CSS
	Cautions                    []string
	Groups                      []group
	Shapes                      []shape
	Codes                       []code
	Guides                      []Guide
	Example                     string
}

// group is the operations of one tag.
type group struct {
	Name, Description string
	Operations        []operation
}

type operation struct {
	ID, Method, Path, Summary, Description, Scope string
	Example                                       string
	Needs                                         []needed
	Parameters                                    []field
	Body                                          string // name of a shape
	Responses                                     []response
}

// needed is a variable of an example, and the operation whose example sets it.
type needed struct{ Variable, By string }

type response struct{ Status, Description, Shape string }

type code struct{ Code, Text string }

func contents(doc *openapi3.T, cautions []string) docsContents {
	c := docsContents{
		Title: doc.Info.Title, Version: doc.Info.Version, Description: doc.Info.Description,
		Style: template.CSS(docsStyle), Cautions: cautions, Shapes: shapes(doc), Codes: codes(doc), Guides: Guides(), //nolint:gosec // our own file
	}
	for _, tag := range doc.Tags {
		c.Groups = append(c.Groups, group{tag.Name, tag.Description, operations(doc, tag.Name)})
	}
	if example, err := json.MarshalIndent(doc.Components.Schemas["PlanRequest"].Value.Example, "", "  "); err == nil {
		c.Example = string(example)
	}
	return c
}

func operations(doc *openapi3.T, tag string) []operation {
	var list []operation
	made := makers(doc)
	for _, path := range doc.Paths.InMatchingOrder() {
		item := doc.Paths.Value(path)
		for _, method := range []string{http.MethodPost, http.MethodGet, http.MethodPut, http.MethodPatch, http.MethodDelete} {
			if op := item.GetOperation(method); op != nil && slices.Contains(op.Tags, tag) {
				list = append(list, describe(method, path, item, op, made))
			}
		}
	}
	slices.SortStableFunc(list, func(a, b operation) int { return strings.Compare(a.Path, b.Path) })
	return list
}

func describe(method, path string, item *openapi3.PathItem, op *openapi3.Operation, made map[string]string) operation {
	scope, _ := op.Extensions["x-scope"].(string)
	if scope == "none" {
		scope = ""
	}
	o := operation{ID: op.OperationID, Method: method, Path: path, Summary: op.Summary, Description: op.Description, Scope: scope, Example: example(method, path, item, op)}
	for _, name := range needs(o.Example) {
		o.Needs = append(o.Needs, needed{name, made[name]})
	}
	for _, p := range slices.Concat(item.Parameters, op.Parameters) {
		f := describeField(p.Value.Name, p.Value.Schema, p.Value.Required)
		f.Place, f.Description = p.Value.In, p.Value.Description
		o.Parameters = append(o.Parameters, f)
	}
	if op.RequestBody != nil {
		o.Body = shapeOf(op.RequestBody.Value.Content)
	}
	for _, status := range slices.Sorted(mapKeys(op.Responses.Map())) {
		r := op.Responses.Value(status).Value
		o.Responses = append(o.Responses, response{Status: status, Description: *r.Description, Shape: shapeOf(r.Content)})
	}
	return o
}

// shapeOf gives the name of the schema a body has, if it has one.
func shapeOf(content openapi3.Content) string {
	for _, kind := range slices.Sorted(mapKeys(content)) {
		if s := content[kind].Schema; s != nil && s.Ref != "" {
			return refName(s.Ref)
		}
	}
	return ""
}

// codes lists the codes of problems as the contract explains them.
func codes(doc *openapi3.T) []code {
	property := doc.Components.Schemas["Problem"].Value.Properties["code"].Value
	texts, _ := property.Extensions["x-codes"].(map[string]any)
	var list []code
	for _, name := range property.Enum {
		list = append(list, code{fmt.Sprint(name), fmt.Sprint(texts[fmt.Sprint(name)])})
	}
	return list
}
