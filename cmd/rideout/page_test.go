package main

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// heldPage holds a page of the repository against what the code gives. What stands between the lines
//
//	<!-- code: NAME -->
//	<!-- end -->
//
// is the block of that name; all else is written by hand. With -update the blocks are written anew. Every block has one
// place in the page, and every place a block.
func heldPage(t *testing.T, path string, blocks map[string]string) {
	t.Helper()
	path = filepath.Join("..", "..", path)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	made, err := filled(string(text), blocks)
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	if *update {
		if err := os.WriteFile(path, []byte(made), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if line, got, differs := firstDifference(string(text), made); differs {
		t.Errorf("%s:%d is not what the code gives; run with -update if that is meant. Got:\n%s", path, line, got)
	}
}

// firstDifference is the first line, from 1, that is another in what was made than in what was kept.
func firstDifference(kept, made string) (line int, got string, differs bool) {
	was, is := strings.Split(kept, "\n"), strings.Split(made, "\n")
	for i := range max(len(was), len(is)) {
		switch {
		case i >= len(is):
			return i + 1, "nothing more", true
		case i >= len(was) || was[i] != is[i]:
			return i + 1, is[i], true
		}
	}
	return 0, "", false
}

// What a page may have wrong is found.
func TestPagesAreHeld(t *testing.T) {
	t.Parallel()
	const page = "By hand.\n<!-- code: load -->\n12 kN\n<!-- end -->\nThe end."
	for _, c := range []struct {
		name, page string
		blocks     map[string]string
		line       int // of the first difference; 0: none
		refused    bool
	}{
		{"as the code gives it", page, map[string]string{"load": "12 kN\n"}, 0, false},
		{"another figure", page, map[string]string{"load": "13 kN"}, 3, false},
		{"a line more", page, map[string]string{"load": "12 kN\n1 kt"}, 4, false},
		{"a line less", page, map[string]string{"load": ""}, 3, false},
		{"a block without a place", page, map[string]string{"load": "12 kN", "drift": "1 kt"}, 0, true},
		{"a place without a block", page, map[string]string{}, 0, true},
		{"a place that does not end", "<!-- code: load -->\n12 kN", map[string]string{"load": "12 kN"}, 0, true},
		{"two places for a block", page + "\n" + page, map[string]string{"load": "12 kN"}, 0, true},
	} {
		made, err := filled(c.page, c.blocks)
		if (err != nil) != c.refused {
			t.Errorf("%s: got %v", c.name, err)
		}
		if line, got, _ := firstDifference(c.page, made); err == nil && line != c.line {
			t.Errorf("%s: differs in line %d (%q), want %d", c.name, line, got, c.line)
		}
	}
}

// filled puts the blocks into their places.
func filled(text string, blocks map[string]string) (string, error) {
	const begin, end = "<!-- code: ", "<!-- end -->"
	left := maps.Clone(blocks)
	var made []string
	inside := false
	for _, line := range strings.Split(text, "\n") {
		name, begins := strings.CutPrefix(line, begin)
		switch {
		case begins:
			name = strings.TrimSuffix(name, " -->")
			block, known := left[name]
			if inside || !known {
				return "", fmt.Errorf("nothing, or nothing more, is called %q", name)
			}
			delete(left, name)
			inside = true
			made = append(made, line, strings.TrimRight(block, "\n"))
			continue
		case line == end:
			inside = false
		}
		if !inside {
			made = append(made, line)
		}
	}
	if inside || len(left) > 0 {
		return "", fmt.Errorf("a place is not ended, or these have none: %v", slices.Sorted(maps.Keys(left)))
	}
	return strings.Join(made, "\n"), nil
}

// table writes a table of Markdown. The first row is its head.
func table(rows ...[]string) string {
	var b strings.Builder
	for i, row := range rows {
		b.WriteString("| " + strings.Join(row, " | ") + " |\n")
		if i == 0 {
			b.WriteString(strings.Repeat("|---", len(row)) + "|\n")
		}
	}
	return b.String()
}

// bullets writes a list of Markdown.
func bullets(lines ...string) string { return "- " + strings.Join(lines, "\n- ") }

// fenced writes text as it is.
func fenced(kind, text string) string {
	return "```" + kind + "\n" + strings.TrimRight(text, "\n") + "\n```"
}
