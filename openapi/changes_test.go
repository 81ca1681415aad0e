package openapi_test

import (
	"os"
	"slices"
	"strings"
	"testing"
)

// CHANGES.md tells callers of the version the contract has, and names every route it has.
func TestChangesAreTold(t *testing.T) {
	t.Parallel()
	doc := contract(t)
	text, err := os.ReadFile("CHANGES.md")
	if err != nil {
		t.Fatal(err)
	}
	told := string(text)
	if !slices.Contains(strings.Split(told, "\n"), "## "+doc.Info.Version) {
		t.Errorf("CHANGES.md has no entry for version %s of the contract", doc.Info.Version)
	}
	for path := range doc.Paths.Map() {
		if !strings.Contains(told, "`"+path+"`") {
			t.Errorf("CHANGES.md does not name %s: tell callers of it under today's date", path)
		}
	}
}
