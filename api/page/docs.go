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

// Docs is the contract as a page, and the Content-Security-Policy it is sent with.
type Docs struct {
	HTML   []byte
	Policy string
}

// NewDocs renders the contract with the cautions above it.
func NewDocs(doc *openapi3.T, cautions []string) (Docs, error) {
	page, err := template.New("docs").Funcs(template.FuncMap{"prose": prose}).Parse(docsTemplate)
	if err != nil {
		return Docs{}, fmt.Errorf("read the template of the docs: %w", err)
	}
	var out bytes.Buffer
	if err := page.Execute(&out, contents(doc, cautions)); err != nil {
		return Docs{}, fmt.Errorf("render the docs: %w", err)
	}
	_, style, _ := strings.Cut(out.String(), "<style>")
	style, _, _ = strings.Cut(style, "</style>")
	sum := sha256.Sum256([]byte(style))
	policy := "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
	return Docs{HTML: out.Bytes(), Policy: policy}, nil
}

type docsContents struct {
	Title, Version, Description string
	Style                       template.CSS
	Cautions                    []string
	Groups                      []group
	Shapes                      []shape
	Codes                       []code
	Example                     string
}

// group is the operations of one tag.
type group struct {
	Name, Description string
	Operations        []operation
}

type operation struct {
	ID, Method, Path, Summary, Description, Scope, Curl string
	Parameters                                          []field
	Body                                                string // name of a shape
	Responses                                           []response
}

type response struct{ Status, Description, Shape string }

type code struct{ Code, Text string }

func contents(doc *openapi3.T, cautions []string) docsContents {
	c := docsContents{
		Title: doc.Info.Title, Version: doc.Info.Version, Description: doc.Info.Description,
		Style: template.CSS(docsStyle), Cautions: cautions, Shapes: shapes(doc), Codes: codes(doc), //nolint:gosec // our own file
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
	for _, path := range doc.Paths.InMatchingOrder() {
		item := doc.Paths.Value(path)
		for _, method := range []string{http.MethodPost, http.MethodGet, http.MethodPatch, http.MethodPut, http.MethodDelete} {
			if op := item.GetOperation(method); op != nil && slices.Contains(op.Tags, tag) {
				list = append(list, describe(method, path, item, op))
			}
		}
	}
	slices.SortStableFunc(list, func(a, b operation) int { return strings.Compare(a.Path, b.Path) })
	return list
}

func describe(method, path string, item *openapi3.PathItem, op *openapi3.Operation) operation {
	scope, _ := op.Extensions["x-scope"].(string)
	if scope == "none" {
		scope = ""
	}
	o := operation{ID: op.OperationID, Method: method, Path: path, Summary: op.Summary, Description: op.Description, Scope: scope, Curl: curl(method, path, item, op)}
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

// curl writes an example call.
func curl(method, path string, item *openapi3.PathItem, op *openapi3.Operation) string {
	lines := []string{"curl -sS"}
	if op.Security == nil {
		lines = append(lines, `-H "Authorization: Bearer $RIDEOUT_KEY"`)
	}
	for _, p := range slices.Concat(item.Parameters, op.Parameters) {
		switch {
		case p.Value.In == openapi3.ParameterInHeader:
			lines = append(lines, fmt.Sprintf(`-H "%s: %v"`, p.Value.Name, p.Value.Example))
		case p.Value.In == openapi3.ParameterInPath:
			path = strings.ReplaceAll(path, "{"+p.Value.Name+"}", fmt.Sprint(p.Value.Example))
		}
	}
	if method == http.MethodPost {
		lines = append(lines, `-H "Content-Type: application/json"`, "--data-binary @plan.json")
	}
	return strings.Join(append(lines, `"$RIDEOUT_URL`+path+`"`), " \\\n  ")
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
