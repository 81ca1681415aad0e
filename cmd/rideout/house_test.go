package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"rideout/service"
	"rideout/store"
)

// may is a row of the table in DEVELOPERS.md: what of ours a package may import, and which modules.
type may struct{ ours, outside []string }

// built is what the Go tool says of a package.
type built struct {
	ImportPath string
	Imports    []string
}

// inPure are the packages of the standard library the physics may use: none that reads a clock, a
// file or a network, starts goroutines or writes a log.
var inPure = []string{
	"embed", "cmp", "errors", "fmt", "maps", "math", "math/cmplx", "math/rand/v2", "slices", "sort", "strconv", "strings",
}

// TestImportsKeepToTheTable holds every package against the table in DEVELOPERS.md.
func TestImportsKeepToTheTable(t *testing.T) {
	t.Parallel()
	table := importTable(t)
	packages := listed(t)
	for _, p := range packages {
		name := strings.TrimPrefix(p.ImportPath, "rideout/")
		row, ok := table[name]
		if !ok {
			t.Errorf("%s is not in the table of DEVELOPERS.md", name)
			continue
		}
		for _, imported := range p.Imports {
			ours, isOurs := strings.CutPrefix(imported, "rideout/")
			switch {
			case isOurs && !covered(row.ours, ours):
				t.Errorf("%s imports %s, which the table of DEVELOPERS.md does not allow", name, ours)
			case !isOurs && strings.Contains(imported, ".") && !covered(row.outside, imported):
				t.Errorf("%s imports %s, which the table of DEVELOPERS.md does not allow", name, imported)
			}
			if pure(name) && !isOurs && !strings.Contains(imported, ".") && !slices.Contains(inPure, imported) {
				t.Errorf("%s imports %s: the physics is pure", name, imported)
			}
		}
		delete(table, name)
	}
	for name := range table {
		t.Errorf("the table of DEVELOPERS.md lists %s, which does not exist", name)
	}
}

// pure tells whether a package is physics; published is for its tests alone.
func pure(name string) bool {
	return strings.HasPrefix(name, "service/physics/") && name != "service/physics/internal/published"
}

// covered tells whether a list has the name, or a folder of it that ends in /...
func covered(list []string, name string) bool {
	for _, allowed := range list {
		folder, all := strings.CutSuffix(allowed, "/...")
		if name == allowed || (all && (name == folder || strings.HasPrefix(name, folder+"/"))) {
			return true
		}
	}
	return false
}

// importTable reads the rows | package | ours | modules | below the heading of the table.
func importTable(t *testing.T) map[string]may {
	t.Helper()
	text, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	_, after, found := strings.Cut(string(text), "\n## Who may import whom\n")
	if !found {
		t.Fatal("DEVELOPERS.md has no heading \"Who may import whom\"")
	}
	table := map[string]may{}
	for s := bufio.NewScanner(strings.NewReader(after)); s.Scan() && !strings.HasPrefix(s.Text(), "## "); {
		cells := strings.Split(strings.Trim(s.Text(), "|"), "|")
		if len(cells) != 3 || !strings.HasPrefix(strings.TrimSpace(cells[0]), "`") {
			continue
		}
		table[strings.Trim(cells[0], " `")] = may{quoted(cells[1]), quoted(cells[2])}
	}
	if len(table) < 10 {
		t.Fatalf("the table of DEVELOPERS.md has %d rows that can be read", len(table))
	}
	return table
}

// quoted gives what stands between backticks.
func quoted(cell string) []string {
	var names []string
	for i, part := range strings.Split(cell, "`") {
		if i%2 == 1 {
			names = append(names, part)
		}
	}
	return names
}

// listed asks the Go tool for every package of the module.
func listed(t *testing.T) []built {
	t.Helper()
	list := exec.Command("go", "list", "-buildvcs=false", "-json=ImportPath,Imports", "./...", "./testdata/demo")
	list.Dir = "../.."
	var said bytes.Buffer
	list.Stderr = &said
	out, err := list.Output()
	if err != nil {
		t.Fatalf("go list: %v: %s", err, said.String())
	}
	var packages []built
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p built
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return packages
		} else if err != nil {
			t.Fatal(err)
		}
		packages = append(packages, p)
	}
}

// TestCalculationsEndBeforeTheirTransactions: a second is left for what is done in the transaction beside the calculation.
func TestCalculationsEndBeforeTheirTransactions(t *testing.T) {
	t.Parallel()
	for _, budget := range []time.Duration{service.DefaultBudget, forecastsOf(nil).Plans.Budget} {
		if budget > store.DefaultWorkTimeout-time.Second {
			t.Errorf("a calculation may take %v, and the database ends its transaction after %v", budget, store.DefaultWorkTimeout)
		}
	}
}
