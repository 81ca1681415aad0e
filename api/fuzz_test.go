package api_test

import (
	"errors"
	"strings"
	"testing"

	"rideout/api"
	"rideout/service"
	"rideout/service/planner"
)

// The decoder must never panic, never accept what planner.Validate refuses, and always say where a
// refused body is wrong.
func FuzzDecodePlan(f *testing.F) {
	example := exampleBody(f)
	f.Add([]byte(example))
	f.Add([]byte(`{"forecast": ` + coverage + `}`))
	for _, c := range badBodies {
		body := c.body
		if body == "" {
			body = example
			for _, s := range c.swaps {
				body = strings.Replace(body, s.old, s.new, 1)
			}
		}
		if len(body) < 10_000 {
			f.Add([]byte(body))
		}
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		req, err := api.DecodePlan(body)
		if err == nil {
			if problems := planner.Validate(req); len(problems) > 0 {
				t.Fatalf("accepted what Validate refuses: %+v", problems)
			}
			return
		}
		var refused *service.Error
		if !errors.As(err, &refused) || refused.Kind != service.KindInvalid {
			t.Fatalf("error %v, want one of kind invalid", err)
		}
		if len(refused.Fields) == 0 {
			t.Fatal("no field is named")
		}
		for _, field := range refused.Fields {
			if field.Pointer != "" && !strings.HasPrefix(field.Pointer, "/") {
				t.Errorf("%q is no JSON pointer", field.Pointer)
			}
			if field.Message == "" || field.Fix == "" {
				t.Errorf("%q has no message or no fix", field.Pointer)
			}
		}
	})
}
