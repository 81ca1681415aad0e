package page

import (
	"fmt"
	"html/template"
	"iter"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
)

// shape is one schema of the contract as a table of its fields.
type shape struct {
	Name, Description string
	Fields            []field
}

type field struct {
	Name, Place, Type, Shape, Unit, Range, Description string
	Required                                           bool
}

// shapes lists the schemas in reading order: what is sent, what is answered, each followed by what it
// is made of; then the rest.
func shapes(doc *openapi3.T) []shape {
	var order []string
	var visit func(name string)
	visit = func(name string) {
		s := doc.Components.Schemas[name]
		if s == nil || slices.Contains(order, name) {
			return
		}
		order = append(order, name)
		for _, part := range parts(s.Value) {
			visit(part)
		}
	}
	for _, first := range []string{"PlanRequest", "Plan", "Working", "PlanPage", "Problem"} {
		visit(first)
	}
	for _, name := range slices.Sorted(mapKeys(doc.Components.Schemas)) {
		visit(name)
	}
	list := make([]shape, len(order))
	for i, name := range order {
		s := doc.Components.Schemas[name].Value
		list[i] = shape{Name: name, Description: s.Description, Fields: fields("", s)}
		if len(list[i].Fields) == 0 {
			list[i].Fields = []field{describeField("(the value)", openapi3.NewSchemaRef("", s), true)}
			list[i].Description, list[i].Fields[0].Description = "", s.Description
		}
	}
	return list
}

// fields lists the properties of an object, those of objects described in place included. What is
// required comes first, in the contract's order.
func fields(prefix string, s *openapi3.Schema) []field {
	var list []field
	optional := slices.DeleteFunc(slices.Sorted(mapKeys(s.Properties)), func(name string) bool { return slices.Contains(s.Required, name) })
	for _, name := range slices.Concat(s.Required, optional) {
		p := s.Properties[name]
		f := describeField(prefix+name, p, slices.Contains(s.Required, name))
		list = append(list, f)
		if inner := p.Value.Items; inner != nil && inner.Ref == "" && len(inner.Value.Properties) > 0 {
			list = append(list, fields(prefix+name+"[].", inner.Value)...)
		} else if p.Ref == "" && len(p.Value.Properties) > 0 {
			list = append(list, fields(prefix+name+".", p.Value)...)
		}
	}
	return list
}

func describeField(name string, ref *openapi3.SchemaRef, required bool) field {
	s := ref.Value
	unit, _ := s.Extensions["x-unit"].(string)
	f := field{Name: name, Required: required, Unit: unit, Range: valueRange(s), Description: s.Description, Type: kind(s)}
	if named := parts(s); ref.Ref != "" {
		f.Shape = refName(ref.Ref)
	} else if s.Items != nil && s.Items.Ref != "" {
		f.Shape = refName(s.Items.Ref)
	} else if len(s.OneOf) > 0 {
		f.Type = strings.Join(named, " or ")
		f.Shape = named[0]
	}
	return f
}

// parts names the schemas a schema refers to.
func parts(s *openapi3.Schema) []string {
	var names []string
	add := func(ref *openapi3.SchemaRef) {
		switch {
		case ref == nil:
		case ref.Ref != "":
			names = append(names, refName(ref.Ref))
		default:
			names = append(names, parts(ref.Value)...)
		}
	}
	add(s.Items)
	for _, branch := range slices.Concat(s.OneOf, s.AllOf) {
		add(branch)
	}
	for _, name := range slices.Sorted(mapKeys(s.Properties)) {
		add(s.Properties[name])
	}
	return names
}

func kind(s *openapi3.Schema) string {
	switch {
	case s.Type == nil:
		return "object"
	case s.Type.Includes("array"):
		if s.Items != nil && s.Items.Value != nil {
			return "list of " + kind(s.Items.Value)
		}
		return "list"
	case s.Format == "date-time":
		return "time"
	case s.Format == "uuid":
		return "UUID"
	}
	return strings.Join(s.Type.Slice(), " or ")
}

func valueRange(s *openapi3.Schema) string {
	var said []string
	if s.Items != nil && s.Items.Value != nil && len(s.Items.Value.Properties) == 0 {
		if inner := valueRange(s.Items.Value); inner != "" {
			said = append(said, "each "+inner)
		}
	}
	switch {
	case len(s.Enum) > 0:
		for _, v := range s.Enum {
			said = append(said, fmt.Sprint(v))
		}
		return strings.Join(said, ", ")
	case s.Min != nil && s.Max != nil:
		said = append(said, decimal(*s.Min)+" to "+decimal(*s.Max))
	case s.Min != nil:
		said = append(said, "at least "+decimal(*s.Min))
	}
	if s.MaxItems != nil {
		said = append(said, fmt.Sprintf("%d to %d of them", s.MinItems, *s.MaxItems))
	}
	if s.MaxLength != nil {
		said = append(said, fmt.Sprintf("%d to %d characters", s.MinLength, *s.MaxLength))
	}
	if words, ok := s.Extensions["x-words"].(string); ok {
		said = append(said, words)
	}
	if s.Default != nil {
		said = append(said, fmt.Sprintf("default %v", s.Default))
	}
	return strings.Join(said, "; ")
}

func decimal(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }

func refName(ref string) string { return ref[strings.LastIndexByte(ref, '/')+1:] }

func mapKeys[M ~map[string]V, V any](m M) iter.Seq[string] { return maps.Keys(m) }

// prose writes text with `code` in it as HTML.
func prose(text string) template.HTML {
	var b strings.Builder
	for i, piece := range strings.Split(strings.TrimSpace(text), "`") {
		piece = template.HTMLEscapeString(piece)
		if i%2 == 1 {
			piece = "<code>" + piece + "</code>"
		}
		b.WriteString(strings.ReplaceAll(piece, "\n\n", "</p><p>"))
	}
	return template.HTML("<p>" + b.String() + "</p>") //nolint:gosec // escaped above
}
