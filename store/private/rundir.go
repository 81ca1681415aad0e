package private

import (
	"os"
	"path/filepath"
)

// runDir is a temporary directory of one running server. It holds the socket, a throwaway's data,
// and a lock that is free once the process that made it has ended, by whatever end.
type runDir struct {
	path string
	held *os.File
}

const runPattern = "rideout-pg-*"

// A socket's path has 107 bytes on Linux, 103 on others.
const longestBase = 103 - len("/rideout-pg-1234567890/s/.s.PGSQL.5432")

func newRunDir(a account) (runDir, error) {
	base := os.TempDir()
	if len(base) > longestBase || a.canEnter(base) != nil {
		base = "/tmp"
	}
	sweep(base)
	path, err := os.MkdirTemp(base, runPattern)
	if err != nil {
		return runDir{}, err
	}
	d := runDir{path: path}
	// The lock gets its name when it is held, or a sweep could take it in between.
	if d.held, err = lock(filepath.Join(path, "lock.new")); err != nil {
		return d, err
	}
	if err := os.Rename(d.held.Name(), filepath.Join(path, "lock")); err != nil {
		return d, err
	}
	if a.drop {
		if err := os.Chmod(path, 0o711); err != nil {
			return d, err
		}
	}
	return d, a.mkdir(d.socket())
}

func (d runDir) socket() string { return filepath.Join(d.path, "s") }

func (d runDir) remove() error {
	if d.path == "" {
		return nil
	}
	if d.held != nil {
		defer d.held.Close()
	}
	return os.RemoveAll(d.path)
}

// sweep removes what processes that were killed have left. It does what it can: a directory it
// cannot remove harms nobody.
func sweep(base string) {
	left, _ := filepath.Glob(filepath.Join(base, runPattern, "lock")) // fails on a bad pattern alone
	for _, path := range left {
		d := runDir{path: filepath.Dir(path)}
		owner, err := ownerOf(d.path)
		if err != nil || owner.uid != os.Geteuid() {
			continue
		}
		if d.held, err = lock(path); err != nil {
			continue // in use
		}
		if len(occupants(filepath.Join(d.path, "postgres"))) > 0 {
			d.held.Close() // its server is still shutting down
			continue
		}
		d.remove()
	}
}
