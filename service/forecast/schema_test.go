package forecast_test

import (
	"bytes"
	"encoding/json"
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"rideout/service/forecast"
)

// schema is the OGC's JSON Schema of CoverageJSON 1.0.
func schema(t testing.TB) *jsonschema.Schema {
	t.Helper()
	s, err := jsonschema.NewCompiler().Compile("testdata/coveragejson-schema/coveragejson.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func schemaRefuses(t testing.TB, s *jsonschema.Schema, doc []byte) error {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(doc))
	if err != nil {
		t.Fatal(err)
	}
	return s.Validate(v)
}

var samples = []string{"gale", "partitions", "single"}

func TestSamplesAreValidBySchema(t *testing.T) {
	t.Parallel()
	s := schema(t)
	for _, name := range samples {
		if err := schemaRefuses(t, s, sample(t, name)); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// unread tells of members no plan reads; a fault there doesn't stop one.
func unread(pointer string) bool {
	return strings.HasPrefix(pointer, "/parameters/air") || strings.HasPrefix(pointer, "/ranges/air") ||
		strings.Contains(pointer, "/referencing/1/system/cs")
}

// Every member of every sample is taken away and replaced by values of each other JSON type. What the
// schema refuses of these we must refuse too, wherever a member is read.
func TestRefusesWhatTheSchemaRefuses(t *testing.T) {
	t.Parallel()
	s := schema(t)
	wrong := []any{gone{}, nil, true, 7, 7.5, "seven", []any{}, []any{"seven"}, []any{7, 7}, map[string]any{}, map[string]any{"seven": 7}}
	refused, invalid := 0, 0
	for _, name := range samples {
		doc := sample(t, name)
		for _, pointer := range everyPointer(t, doc) {
			for _, value := range wrong {
				if _, ok := value.(gone); ok && isItem(pointer) {
					continue
				}
				changed := edited(t, doc, pointer, value)
				_, _, err := forecast.DecodeCoverageJSON(changed)
				if err != nil {
					refused++
				}
				if bySchema := schemaRefuses(t, s, changed); bySchema != nil && !unread(pointer) {
					invalid++
					if err == nil {
						t.Errorf("%s with %s = %v: accepted, the schema says %v", name, pointer, value, bySchema)
					}
				}
			}
		}
	}
	if invalid < 1000 || refused <= invalid {
		t.Errorf("%d documents invalid by schema, %d refused: the changes don't test much", invalid, refused)
	}
}

// everyPointer lists the pointers of all values below the root, in order.
func everyPointer(t testing.TB, doc []byte) []string {
	t.Helper()
	var root any
	if err := json.Unmarshal(doc, &root); err != nil {
		t.Fatal(err)
	}
	var list []string
	var walk func(at string, v any)
	walk = func(at string, v any) {
		if at != "" {
			list = append(list, at)
		}
		switch v := v.(type) {
		case map[string]any:
			for _, name := range slices.Sorted(maps.Keys(v)) {
				walk(at+"/"+name, v[name])
			}
		case []any:
			for i, item := range v {
				walk(at+"/"+strconv.Itoa(i), item)
			}
		}
	}
	walk("", root)
	return list
}

func isItem(pointer string) bool {
	_, err := strconv.Atoi(pointer[strings.LastIndex(pointer, "/")+1:])
	return err == nil
}
