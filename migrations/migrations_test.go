package migrations_test

import (
	"io/fs"
	"regexp"
	"strings"
	"testing"

	"rideout/migrations"
)

func TestEachStepHasItsWayBack(t *testing.T) {
	t.Parallel()
	ups, err := fs.Glob(migrations.FS, "*.up.sql")
	if err != nil || len(ups) == 0 {
		t.Fatalf("up files: got %v, error %v", ups, err)
	}
	all, err := fs.Glob(migrations.FS, "*")
	if err != nil || len(all) != 2*len(ups) {
		t.Errorf("got %d files for %d steps, want an up and a down file for each: %v, %v", len(all), len(ups), all, err)
	}
	form := regexp.MustCompile(`^\d{6}_[a-z]+(_[a-z]+)+\.up\.sql$`)
	before := ""
	for _, up := range ups {
		if !form.MatchString(up) || up[:6] == before {
			t.Errorf("%s: want NNNNNN_verb_noun.up.sql, each with a number of its own", up)
		}
		before = up[:6]
		if text := read(t, strings.TrimSuffix(up, ".up.sql")+".down.sql"); strings.TrimSpace(text) == "" {
			t.Errorf("%s: the down file is empty", up)
		}
	}
}

// The store makes each file one transaction; one that ends it early would leave half of itself behind.
func TestNoFileEndsItsTransaction(t *testing.T) {
	t.Parallel()
	bodies := regexp.MustCompile(`(?s)\$\$.*?\$\$`) // of functions, whose BEGIN is another
	ends := regexp.MustCompile(`(?im)^\s*(BEGIN|START TRANSACTION|COMMIT|END|ROLLBACK|ABORT)\b|\bCONCURRENTLY\b`)
	for _, file := range files(t) {
		if found := ends.FindString(bodies.ReplaceAllString(read(t, file), "")); found != "" {
			t.Errorf("%s: %q", file, strings.TrimSpace(found))
		}
	}
}

func TestEachConstraintAndIndexSaysWhy(t *testing.T) {
	t.Parallel()
	named := regexp.MustCompile(`^\s*(CONSTRAINT|CREATE (UNIQUE )?INDEX|CREATE TRIGGER) (\w+)`)
	for _, file := range files(t) {
		before := ""
		for line := range strings.Lines(read(t, file)) {
			if m := named.FindStringSubmatch(line); m != nil && !strings.HasPrefix(strings.TrimSpace(before), "--") {
				t.Errorf("%s: no comment above %s", file, m[3])
			}
			before = line
		}
	}
}

func files(t *testing.T) []string {
	t.Helper()
	names, err := fs.Glob(migrations.FS, "*.sql")
	if err != nil {
		t.Fatal(err)
	}
	return names
}

func read(t *testing.T, file string) string {
	t.Helper()
	text, err := fs.ReadFile(migrations.FS, file)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
