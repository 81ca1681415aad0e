// Package migrations holds the database's schema as numbered steps, NNNNNN_verb_noun.up.sql with
// the .down.sql that takes it back.
//
// A file holds statements only, no BEGIN or COMMIT: the store runs each file, and the note of the
// version it leads to, as one transaction.
package migrations

import "embed"

// FS holds the files.
//
//go:embed *.sql
var FS embed.FS
