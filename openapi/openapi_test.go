package openapi_test

import (
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"rideout/openapi"
)

func contract(t *testing.T) *openapi3.T {
	t.Helper()
	doc, err := openapi3.NewLoader().LoadFromData(openapi.YAML)
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

// The examples of the contract are checked with it.
func TestContractIsValid(t *testing.T) {
	t.Parallel()
	doc := contract(t)
	if err := doc.Validate(t.Context()); err != nil {
		t.Error(err)
	}
	if doc.OpenAPI != "3.1.0" {
		t.Errorf("openapi %q, want 3.1.0", doc.OpenAPI)
	}
}

func TestEverythingIsDescribed(t *testing.T) {
	t.Parallel()
	doc := contract(t)
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			if op.Summary == "" || op.OperationID == "" || len(op.Tags) != 1 {
				t.Errorf("%s %s lacks a summary, an id or its tag", method, path)
			}
			for _, p := range op.Parameters {
				if p.Value.Description == "" {
					t.Errorf("%s %s: parameter %s is not described", method, path, p.Value.Name)
				}
			}
		}
	}
	for name, schema := range doc.Components.Schemas {
		if schema.Value.Description == "" {
			t.Errorf("%s is not described", name)
		}
		describedFields(t, name, schema.Value)
	}
}

// describedFields demands a text for each field, a unit for each range, and 64 bits for each number.
func describedFields(t *testing.T, at string, s *openapi3.Schema) {
	t.Helper()
	for name, ref := range s.Properties {
		p, place := ref.Value, at+"."+name
		if p.Description == "" && len(p.Enum) == 0 && p.Items == nil {
			t.Errorf("%s is not described", place)
		}
		if p.Type.Includes("number") && p.Format != "double" {
			t.Errorf("%s would be a float32: give it format double", place)
		}
		if p.Min != nil && p.Max != nil && p.Extensions["x-unit"] == nil {
			t.Errorf("%s has a range but no unit", place)
		}
		if p.Items != nil && p.Items.Ref == "" {
			describedFields(t, place+"[]", p.Items.Value)
		}
	}
}

func TestWhatIsSentHasRanges(t *testing.T) {
	t.Parallel()
	doc := contract(t)
	for _, name := range []string{"Vessel", "WindagePart", "StrongPoint", "Canopy", "Rode", "Shackle", "Swivel", "Chain", "TripLine", "Float", "Position", "Wish", "ForecastStep", "Assume"} {
		schema := doc.Components.Schemas[name].Value
		if has := schema.AdditionalProperties.Has; has == nil || *has {
			t.Errorf("%s takes unknown fields", name)
		}
		for field, ref := range schema.Properties {
			p := ref.Value
			if (p.Type.Includes("number") || p.Type.Includes("integer")) && len(p.Enum) == 0 && (p.Min == nil || p.Max == nil || p.Extensions["x-unit"] == nil || p.Example == nil) {
				t.Errorf("%s.%s lacks a range, a unit or an example", name, field)
			}
		}
	}
}
