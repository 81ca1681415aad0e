package api

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
)

// expectation says in words what a schema allows, with range and unit.
func expectation(s *openapi3.Schema) string {
	switch {
	case s == nil:
		return "what the contract asks"
	case len(s.Enum) > 0:
		names := make([]string, len(s.Enum))
		for i, v := range s.Enum {
			names[i] = fmt.Sprint(v)
		}
		return "one of " + strings.Join(names, ", ")
	case len(s.OneOf) > 0:
		return expectation(s.OneOf[0].Value)
	case s.Type.Includes("number"):
		return "a number" + limits(s) + unit(s)
	case s.Type.Includes("integer"):
		return "an integer" + limits(s) + unit(s)
	case s.Type.Includes("boolean"):
		return "true or false"
	case s.Type.Includes("array"):
		return "a list" + lengths(s.MinItems, s.MaxItems, "items")
	case s.Type.Includes("object"):
		if len(s.Required) == 0 {
			return "an object"
		}
		return "an object with " + strings.Join(s.Required, ", ")
	case s.Format == "date-time":
		return "an RFC 3339 time such as 2026-01-12T18:00:00Z"
	case s.Format == "date":
		return "a day of the calendar such as 2028-02-29"
	case s.Format == "uuid":
		return "a UUID"
	}
	words, ok := s.Extensions["x-words"].(string) // what the pattern says
	if !ok {
		words = "a text"
	}
	return words + lengths(s.MinLength, s.MaxLength, "characters")
}

func limits(s *openapi3.Schema) string {
	switch {
	case s.Min != nil && s.Max != nil:
		return " from " + decimal(*s.Min) + " to " + decimal(*s.Max)
	case s.Min != nil:
		return " of at least " + decimal(*s.Min)
	case s.Max != nil:
		return " of at most " + decimal(*s.Max)
	}
	return ""
}

func lengths(least uint64, most *uint64, of string) string {
	switch {
	case most != nil:
		return fmt.Sprintf(" of %d to %d %s", least, *most, of)
	case least > 0:
		return fmt.Sprintf(" of at least %d %s", least, of)
	}
	return ""
}

// unit gives the unit of a schema as a suffix; "1" is no unit.
func unit(s *openapi3.Schema) string {
	if u, _ := s.Extensions["x-unit"].(string); u != "" && u != "1" {
		return " " + u
	}
	return ""
}

// given repeats a wrong number, which helps to find a slipped point.
func given(value any) string {
	if f, ok := value.(float64); ok {
		return "is " + decimal(f) + ", "
	}
	return ""
}

func decimal(f float64) string {
	if abs := max(f, -f); abs >= 1e-4 && abs < 1e15 {
		return strconv.FormatFloat(f, 'f', -1, 64)
	}
	return strconv.FormatFloat(f, 'g', -1, 64)
}
