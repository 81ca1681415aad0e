package private

import (
	"cmp"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// ErrNotInstalled tells that this machine has no Postgres to run.
var ErrNotInstalled = errors.New("no Postgres is installed here: apt-get install postgresql (or set PG_BINDIR or DATABASE_URL)")

// binaries is a directory that holds postgres and initdb.
type binaries struct {
	dir     string
	version string // "15.18"
}

// findBinaries looks in PG_BINDIR, or else on the PATH and where Debian puts them, newest first. A
// cluster there is already is served by the major version that made it, or not at all.
func findBinaries(cluster string) (binaries, error) {
	made, err := os.ReadFile(filepath.Join(cluster, "PG_VERSION"))
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return binaries{}, err
	}
	want := strings.TrimSpace(string(made))
	var found []string
	for _, dir := range candidates() {
		version, err := versionIn(dir)
		if err != nil {
			continue // a directory without a working postgres is no candidate
		}
		if want == "" || want == major(version) {
			return binaries{dir, version}, nil
		}
		found = append(found, version)
	}
	if found == nil {
		return binaries{}, ErrNotInstalled
	}
	return binaries{}, fmt.Errorf("%s was made by Postgres %s and here is %s: apt-get install postgresql-%s",
		cluster, want, strings.Join(found, ", "), want)
}

func candidates() []string {
	if dir := os.Getenv("PG_BINDIR"); dir != "" {
		return []string{dir}
	}
	var dirs []string
	if path, err := exec.LookPath("postgres"); err == nil {
		// A link on the PATH has no initdb beside it; where it leads has.
		if path, err = filepath.EvalSymlinks(path); err == nil {
			dirs = append(dirs, filepath.Dir(path))
		}
	}
	debian, _ := filepath.Glob("/usr/lib/postgresql/*/bin") // fails on a bad pattern alone
	slices.SortFunc(debian, func(a, b string) int { return cmp.Compare(number(b), number(a)) })
	return append(dirs, debian...)
}

// number is the 15 of /usr/lib/postgresql/15/bin.
func number(dir string) float64 {
	n, err := strconv.ParseFloat(filepath.Base(filepath.Dir(dir)), 64)
	if err != nil {
		return 0
	}
	return n
}

// versionIn asks for a version: "postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)".
func versionIn(dir string) (string, error) {
	if _, err := exec.LookPath(filepath.Join(dir, "initdb")); err != nil {
		return "", err
	}
	out, err := exec.Command(filepath.Join(dir, "postgres"), "--version").Output()
	if err != nil {
		return "", err
	}
	words := strings.Fields(string(out))
	if len(words) < 3 {
		return "", fmt.Errorf("no version in %q", out)
	}
	return words[2], nil
}

func major(version string) string {
	m, _, _ := strings.Cut(version, ".")
	return m
}

// command runs a binary with none of the caller's PG variables, which would change what it does.
func (b binaries) command(name string, args ...string) *exec.Cmd {
	cmd := exec.Command(filepath.Join(b.dir, name), args...)
	cmd.Env = []string{"PATH=" + b.dir + ":/usr/bin:/bin", "LC_ALL=C", "TZ=UTC"}
	return cmd
}
