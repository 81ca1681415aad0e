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
	kept := strings.Split(string(text), "\n")
	for i, line := range strings.Split(made, "\n") {
		if i >= len(kept) || kept[i] != line {
			t.Fatalf("%s:%d is not what the code gives; run with -update if that is meant. Got:\n%s", path, i+1, line)
		}
	}
	if len(made) != len(text) {
		t.Fatalf("%s is longer than what the code gives; run with -update if that is meant", path)
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
