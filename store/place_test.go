package store_test

import (
	"os"
	"testing"
)

// placeFor makes a directory that the account a Postgres of our own runs as can enter, which a test's own is not.
func placeFor(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "rideout-test-*")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}
