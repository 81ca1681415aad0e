package main

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"rideout/service/ledger"
)

// maxManifest is far more than any manifest takes.
const maxManifest = 1 << 20

// ofExport holds an export against its manifest, and that against the checkpoints kept. A file that is another than the one exported is
// still read, so that what was changed in it is named.
func (v *verification) ofExport() (ledger.Report, error) {
	m, err := readManifest(v.manifest)
	if err != nil {
		return ledger.Report{}, err
	}
	if len(m.Files) != 1 || filepath.Base(m.Files[0].Name) != m.Files[0].Name {
		return ledger.Report{}, fmt.Errorf("%s: an audit has one file, beside its manifest", v.manifest)
	}
	name := m.Files[0].Name
	file := filepath.Join(filepath.Dir(v.manifest), name)
	sum, err := sumOf(file)
	if err != nil {
		return ledger.Report{}, err
	}
	slipped := sum != m.Files[0].SHA256
	c, err := m.Check(v.known, map[string]string{name: m.Files[0].SHA256})
	if err != nil {
		return ledger.Report{}, fmt.Errorf("%s: %w", v.manifest, err)
	}
	f, err := os.Open(file)
	if err != nil {
		return ledger.Report{}, err
	}
	defer f.Close()
	format := ledger.Format(strings.TrimPrefix(filepath.Ext(name), "."))
	if format != ledger.CSV && format != ledger.NDJSON {
		return ledger.Report{}, fmt.Errorf("%s: the file's name ends in neither .ndjson nor .csv", file)
	}
	report, err := ledger.VerifyAudit(ledger.Audit{Manifest: m, Checkpoint: c, Lines: ledger.Lines(f, format, m.OrgID), Kept: v.kept})
	if err == nil && slipped && report.Sound() {
		err = errors.New(file + " is not byte for byte the file exported, though all entries in it are as they were signed")
	}
	return report, err
}

func readManifest(name string) (m ledger.Manifest, err error) {
	f, err := os.Open(name)
	if err != nil {
		return m, err
	}
	defer f.Close()
	if err := json.NewDecoder(io.LimitReader(f, maxManifest)).Decode(&m); err != nil {
		return m, fmt.Errorf("%s: no manifest: %w", name, err)
	}
	return m, nil
}

func sumOf(name string) (string, error) {
	f, err := os.Open(name)
	if err != nil {
		return "", err
	}
	defer f.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}
