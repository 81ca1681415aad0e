// Package published runs the checks in testdata/published against the code: each row is a figure
// from outside the project, with its source, and the calculation that must return it. It is used
// by tests alone.
package published

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
)

// Check is one row. Inputs carry their units in their names. Tol is absolute, in the unit of
// Want, and Why says where it comes from (the digits printed, usually).
type Check struct {
	Name   string             `json:"name"`
	Calc   string             `json:"calc"` // which calculation of the package's table returns the figure
	Source string             `json:"source"`
	Inputs map[string]float64 `json:"inputs"`
	Want   float64            `json:"want"`
	Unit   string             `json:"unit"`
	Tol    float64            `json:"tol"`
	Why    string             `json:"why"`
}

// Calc computes one figure from a check's inputs.
type Calc func(in Inputs) (float64, error)

// Inputs gives a check's inputs by name and fails the test on one that is not there.
type Inputs struct {
	t      testing.TB
	values map[string]float64
}

// Get returns the named input.
func (in Inputs) Get(name string) float64 {
	v, ok := in.values[name]
	if !ok {
		in.t.Fatalf("input %q is missing in the check", name)
	}
	return v
}

// Has tells whether the check gives the named input.
func (in Inputs) Has(name string) bool { _, ok := in.values[name]; return ok }

// Run holds the rows of testdata/published/<file>.json against the calculations. Every row must
// name a calculation of the table, and every calculation must be used by a row.
func Run(t *testing.T, file string, calcs map[string]Calc) {
	t.Helper()
	checks := load(t, file)
	used := map[string]bool{}
	told := &tally{of: len(checks)}
	t.Cleanup(func() { told.tell(t, file) })
	for _, c := range checks {
		used[c.Calc] = true
		t.Run(c.Name, func(t *testing.T) {
			t.Parallel()
			if err := c.complete(); err != nil {
				t.Fatal(err)
			}
			calc, ok := calcs[c.Calc]
			if !ok {
				t.Fatalf("no calculation called %q", c.Calc)
			}
			got, err := calc(Inputs{t, c.Inputs})
			if err != nil {
				t.Fatalf("%s%v: %v", c.Calc, c.Inputs, err)
			}
			told.add(c, got)
			if !(math.Abs(got-c.Want) <= c.Tol) {
				t.Errorf("%s%v = %.10g %s, want %.10g +- %g (%s; source: %s)", c.Calc, c.Inputs, got, c.Unit, c.Want, c.Tol, c.Why, c.Source)
			}
		})
	}
	for name := range calcs {
		if !used[name] {
			t.Errorf("calculation %q is held against no row of %s", name, file)
		}
	}
}

// tally is what the rows of a file have come to.
type tally struct {
	mu       sync.Mutex
	of, rows int
	worst    float64 // deviation, in tolerances
	name     string  // of its row
}

func (y *tally) add(c Check, got float64) {
	y.mu.Lock()
	defer y.mu.Unlock()
	y.rows++
	if off := math.Abs(got - c.Want); c.Tol > 0 && off/c.Tol > y.worst {
		y.worst, y.name = off/c.Tol, c.Name
	}
}

// tell says how near the worst row came, and holds what README.md says of the file against it, if every row was run.
func (y *tally) tell(t *testing.T, file string) {
	t.Logf("%s.json: %d rows, the largest deviation %.2g of its tolerance: %s", file, y.rows, y.worst, y.name)
	if y.rows != y.of || t.Failed() {
		return
	}
	text, err := os.ReadFile(filepath.Join(filepath.Dir(Path(file)), "..", "..", "service", "physics", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	begin, end := fmt.Sprintf("| `%s.json` | %d |", file, y.rows), fmt.Sprintf("| %.2g |", y.worst)
	for line := range strings.Lines(string(text)) {
		if line = strings.TrimSpace(line); strings.HasPrefix(line, begin) && strings.HasSuffix(line, end) {
			return
		}
	}
	t.Errorf("README.md of the physics has no row that begins with %q and ends with %q", begin, end)
}

func (c Check) complete() error {
	for field, v := range map[string]string{"name": c.Name, "calc": c.Calc, "source": c.Source, "why": c.Why} {
		if strings.TrimSpace(v) == "" {
			return fmt.Errorf("check %q has an empty %s", c.Name, field)
		}
	}
	if !(c.Tol >= 0) || math.IsInf(c.Tol, 0) {
		return fmt.Errorf("check %q has no usable tolerance", c.Name)
	}
	return nil
}

func load(t *testing.T, file string) []Check {
	t.Helper()
	data, err := os.ReadFile(Path(file))
	if err != nil {
		t.Fatal(err)
	}
	var checks []Check
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&checks); err != nil {
		t.Fatalf("%s: %v", file, err)
	}
	if len(checks) == 0 {
		t.Fatalf("%s holds no checks", file)
	}
	return checks
}

// Path gives the place of a file in testdata/published.
func Path(file string) string {
	_, here, _, _ := runtime.Caller(0)
	return filepath.Join(filepath.Dir(here), "..", "..", "..", "..", "testdata", "published", file+".json")
}
