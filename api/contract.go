package api

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"
	"time"

	"github.com/getkin/kin-openapi/openapi3"

	"rideout/openapi"
	"rideout/service"
)

// contract is the contract as read from openapi.yaml, once.
var contract = sync.OnceValues(func() (*openapi3.T, error) {
	doc, err := openapi3.NewLoader().LoadFromData(openapi.YAML)
	if err != nil {
		return nil, fmt.Errorf("read the contract: %w", err)
	}
	return doc, nil
})

// finding is a place where a body breaks the contract.
type finding struct {
	service.FieldError
	harm harm
}

// harm is what a finding does to what can be said about the rest.
type harm int

const (
	harmless   harm = iota // a member too many
	wrongValue             // it can be read, but what it is compared with comes out wrong
	unreadable             // missing or of another type
)

// schemaOptions make the schema check name every wrong field, and hold ids, times and days to their form
// as Go reads it. The check is called on the schema itself: openapi3filter would compile the schema anew for each request.
var schemaOptions = []openapi3.SchemaValidationOption{
	openapi3.MultiErrors(),
	openapi3.WithStringFormatValidator("date-time", openapi3.NewCallbackValidator(func(text string) error {
		at, err := time.Parse(time.RFC3339, text)
		if year := at.UTC().Year(); err == nil && (year < 1 || year > 9999) {
			return errors.New("in UTC it has no year of four digits")
		}
		return err
	})),
	openapi3.WithStringFormatValidator("uuid", openapi3.NewCallbackValidator(func(text string) error {
		if !plainUUID(text) {
			return errors.New("no UUID")
		}
		return nil
	})),
	openapi3.WithStringFormatValidator("date", openapi3.NewCallbackValidator(func(text string) error {
		_, err := time.Parse(time.DateOnly, text)
		return err
	})),
}

// check holds a tree against a schema of the contract. The findings are ordered by pointer.
func check(schema *openapi3.Schema, tree any, options ...openapi3.SchemaValidationOption) []finding {
	found := map[string]finding{}
	collect(schema.VisitJSON(tree, slices.Concat(schemaOptions, options)...), nil, found)
	return slices.SortedFunc(maps.Values(found), func(a, b finding) int { return cmp.Compare(a.Pointer, b.Pointer) })
}

func collect(err error, at []string, found map[string]finding) {
	switch e := err.(type) {
	case nil:
	case openapi3.MultiError:
		for _, one := range e {
			collect(one, at, found)
		}
	case *openapi3.SchemaError:
		collectOne(e, append(slices.Clone(at), e.JSONPointer()...), found)
	default:
		note(found, at, "does not fit the contract", "send the contract's form", unreadable)
	}
}

func collectOne(e *openapi3.SchemaError, at []string, found map[string]finding) {
	expected := expectation(e.Schema)
	switch e.SchemaField {
	case "properties": // members the schema does not know; the error does not name them
		members, _ := e.Value.(map[string]any)
		for name := range members {
			if _, known := e.Schema.Properties[name]; !known {
				note(found, append(slices.Clone(at), name), "is not a known field", spelling(name, e.Schema), harmless)
			}
		}
	case "required":
		if field := e.Schema.Properties[at[len(at)-1]]; field != nil {
			expected = expectation(field.Value)
		}
		note(found, at, "is missing", "send "+expected, unreadable)
	case "readOnly":
		note(found, at, "is given by the service", "leave it out", harmless)
	case "oneOf":
		branch := branchFor(e.Schema, e.Value)
		collect(branch.VisitJSON(e.Value, schemaOptions...), at, found)
	case "type", "nullable":
		fix := "send " + expected
		if e.Value == nil {
			fix += ", or leave it out where it may be absent"
		}
		note(found, at, "must be "+expected, fix, unreadable)
	case "enum":
		does := unreadable
		if _, isText := e.Value.(string); isText && e.Schema.Type.Includes("string") {
			does = wrongValue
		}
		note(found, at, "must be "+expected, "send "+expected, does)
	case "format":
		note(found, at, "must be "+expected, "send "+expected, unreadable)
	default:
		does := wrongValue
		if e.Schema.Type.Includes("integer") { // it may be beyond what an int holds
			does = unreadable
		}
		note(found, at, given(e.Value)+"must be "+expected, "send "+expected, does)
	}
}

// note keeps the first finding for a place.
func note(found map[string]finding, at []string, message, fix string, does harm) {
	p := pointer(at...)
	if _, known := found[p]; !known {
		found[p] = finding{service.FieldError{Pointer: p, Message: message, Fix: fix}, does}
	}
}

// branchFor gives the alternative a value was meant for: the one whose fixed type it names, else
// the first.
func branchFor(schema *openapi3.Schema, value any) *openapi3.Schema {
	members, _ := value.(map[string]any)
	for _, branch := range schema.OneOf {
		if kind := branch.Value.Properties["type"]; kind != nil && slices.Contains(kind.Value.Enum, members["type"]) {
			return branch.Value
		}
	}
	return schema.OneOf[0].Value
}

var errNoOperation = errors.New("the contract has no such operation")

// operation finds an operation of the contract.
func operation(doc *openapi3.T, method, path string) (*openapi3.PathItem, *openapi3.Operation, error) {
	item := doc.Paths.Value(path)
	if item == nil || item.GetOperation(method) == nil {
		return nil, nil, fmt.Errorf("%s %s: %w", method, path, errNoOperation)
	}
	return item, item.GetOperation(method), nil
}
