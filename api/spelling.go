package api

import (
	"maps"
	"slices"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
)

// spelling says what to do about an unknown field: the known one it resembles, or what is known.
func spelling(name string, schema *openapi3.Schema) string {
	known := slices.Sorted(maps.Keys(schema.Properties))
	best, least := "", len(name)/2+1
	for _, k := range known {
		if d := editDistance(strings.ToLower(name), k); d < least {
			best, least = k, d
		}
	}
	if best != "" {
		return "write " + best + " if that is meant, or leave it out"
	}
	return "leave it out; the fields known here are " + strings.Join(known, ", ")
}

// editDistance counts the letters to insert, delete or replace to turn a into b. Long names are
// cut: they resemble nothing.
//
// Source: V. I. Levenshtein, Binary codes capable of correcting deletions, insertions, and
// reversals, 1966.
func editDistance(a, b string) int {
	const longest = 64
	a, b = a[:min(len(a), longest)], b[:min(len(b), longest)]
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			replaced := diagonal
			if a[i] != b[j] {
				replaced++
			}
			diagonal = row[j+1]
			row[j+1] = min(replaced, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
