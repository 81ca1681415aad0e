package faulttest_test

import (
	"os"
	"strings"
	"testing"
	"time"

	"rideout/store/faulttest"
)

// TestFaults sets the short mix upon the service, or with RIDEOUT_FAULTS=all every fault there is, each with its control; another word
// takes those whose names have it.
func TestFaults(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a minute")
	}
	which := os.Getenv("RIDEOUT_FAULTS")
	dir := t.TempDir()
	binary, err := faulttest.Build(t.Context(), dir, "rideout")
	if err != nil {
		t.Fatal(err)
	}
	var results []faulttest.Result
	for _, f := range faulttest.Faults() {
		if which == "" && !f.Short || which != "" && which != "all" && !strings.Contains(f.Name, which) {
			continue
		}
		t.Run(f.Name, func(t *testing.T) {
			begun := time.Now()
			r := try(t, dir, binary, f, which != "")
			r.Took = time.Since(begun)
			results = append(results, r)
		})
	}
	faulttest.Table(t.Output(), results)
}

// TestBugsCanBePutIn tells whoever changes the code that a bug of ours stands on, before `make faults` does.
func TestBugsCanBePutIn(t *testing.T) {
	for _, f := range faulttest.Faults() {
		for _, s := range append(f.Handle, f.Swaps...) {
			text, err := os.ReadFile("../../" + s.File)
			if err != nil {
				t.Fatal(err)
			}
			if !strings.Contains(string(text), s.Old) {
				t.Errorf("%s: %s has no %q any more", f.Name, s.File, s.Old)
			}
		}
	}
}

func try(t *testing.T, dir, binary string, f faulttest.Fault, control bool) faulttest.Result {
	r, err := faulttest.Run(t.Context(), t.Output(), dir, binary, f, false)
	if err != nil {
		t.Fatal(err)
	}
	if !r.Sound() {
		t.Errorf("%d lost, %d twice, and %.400q", r.Lost, r.Duplicate, r.Wrongs)
	}
	if !control {
		r.Control = "not run"
		return r
	}
	bad, err := faulttest.Run(t.Context(), t.Output(), dir, binary, f, true)
	switch {
	case err != nil:
		t.Fatal(err)
	case bad.Sound():
		t.Errorf("%s: the checker did not find it", f.Bug)
		r.Control = "MISSED: " + f.Bug
	default:
		r.Control = "caught: " + f.Bug
		t.Logf("%s: found %d lost, %d twice, and %.200q", f.Bug, bad.Lost, bad.Duplicate, bad.Wrongs)
	}
	return r
}
