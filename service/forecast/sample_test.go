package forecast_test

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"rideout/service/forecast"
	"rideout/service/physics/quantity"
)

// sample reads one of our own CoverageJSON documents, all invented.
func sample(t testing.TB, name string) []byte {
	t.Helper()
	doc, err := os.ReadFile(filepath.Join("testdata", "coveragejson", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

// gone as a value takes a member away.
type gone struct{}

// edited gives the document with the value at a JSON pointer replaced. The pointer's last member may
// be new.
func edited(t testing.TB, doc []byte, pointer string, value any) []byte {
	t.Helper()
	var root any
	if err := json.Unmarshal(doc, &root); err != nil {
		t.Fatal(err)
	}
	root = replaced(t, root, strings.Split(pointer, "/")[1:], value)
	out, err := json.Marshal(root)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func replaced(t testing.TB, v any, path []string, value any) any {
	t.Helper()
	if len(path) == 0 {
		return value
	}
	switch v := v.(type) {
	case map[string]any:
		v[path[0]] = replaced(t, v[path[0]], path[1:], value)
		if v[path[0]] == (gone{}) {
			delete(v, path[0])
		}
	case []any:
		i, err := strconv.Atoi(path[0])
		if err != nil || i >= len(v) {
			t.Fatalf("no item %q", path[0])
		}
		v[i] = replaced(t, v[i], path[1:], value)
	default:
		t.Fatalf("no member %q in %v", path[0], v)
	}
	return v
}

// pointersOf gives the pointers of the problems in an error of the package.
func pointersOf(t testing.TB, err error) []string {
	t.Helper()
	var bad *forecast.Error
	if !errors.As(err, &bad) {
		t.Fatalf("got error %v, want a *forecast.Error", err)
	}
	if len(bad.Problems) == 0 {
		t.Fatal("an error without problems")
	}
	var pointers []string
	for _, p := range bad.Problems {
		if p.Message == "" || p.Fix == "" {
			t.Errorf("problem %+v lacks its message or fix", p)
		}
		pointers = append(pointers, p.Pointer)
	}
	return pointers
}

// near compares values that may be missing; NaN as want means missing.
func near(t testing.TB, what string, got *float64, want float64) {
	t.Helper()
	const tol = 1e-9 // a handful of float64 roundings on values below 1000
	switch {
	case got == nil && math.IsNaN(want):
	case got == nil:
		t.Errorf("%s is missing, want %g", what, want)
	case math.IsNaN(want):
		t.Errorf("%s = %g, want it missing", what, *got)
	case math.Abs(*got-want) > tol:
		t.Errorf("%s = %.12g, want %.12g, tolerance %g", what, *got, want, tol)
	}
}

func nearDeg(t testing.TB, what string, got *quantity.Angle, wantDeg float64) {
	t.Helper()
	if got == nil {
		near(t, what, nil, wantDeg)
		return
	}
	deg := got.Degrees()
	near(t, what, &deg, wantDeg)
}

func noteOf(notes []forecast.Note, code string) (forecast.Note, bool) {
	for _, n := range notes {
		if n.Code == code {
			return n, true
		}
	}
	return forecast.Note{}, false
}
