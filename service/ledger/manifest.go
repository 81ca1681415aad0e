package ledger

import (
	"errors"
	"fmt"
	"maps"
	"slices"

	"github.com/google/uuid"
)

// ManifestFormat names the form of a manifest.
const ManifestFormat = "rideout export 1"

// Manifest says what is in an export and how it hangs on the log. It is not signed: the sums find a slip on the way, and
// what is proven is what the checkpoint signs.
type Manifest struct {
	Format      string        `json:"format"`
	OrgID       uuid.UUID     `json:"org_id"`
	FirstSeq    int64         `json:"first_seq"`  // the entries exported are among these
	LastSeq     int64         `json:"last_seq"`   // FirstSeq - 1 where there are none
	Checkpoint  string        `json:"checkpoint"` // signed, of a size not below last_seq
	Files       []File        `json:"files"`
	Before      []Hash        `json:"before,omitempty"`      // of a run exported whole: the complete subtrees before first_seq, from the left
	Inclusion   []Inclusion   `json:"inclusion,omitempty"`   // of entries exported without all others
	Consistency []Consistency `json:"consistency,omitempty"` // with checkpoints somebody may have kept
}

// File is a file of an export.
type File struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"` // hex
}

// Inclusion proves that the log of the checkpoint has an entry.
type Inclusion struct {
	Seq   int64 `json:"seq"`
	Proof Proof `json:"proof"`
}

// Consistency proves that the log of the checkpoint begins with an earlier one.
type Consistency struct {
	Size  int64 `json:"size"` // of the earlier one
	Proof Proof `json:"proof"`
}

// Check opens the checkpoint and holds the manifest against it and against the files there are: sums has the SHA-256 of each
// in hex by its name, the manifest's own left out.
func (m Manifest) Check(known Verifiers, sums map[string]string) (Checkpoint, error) {
	if m.Format != ManifestFormat {
		return Checkpoint{}, fmt.Errorf("%w: a manifest of the form %.40q, not %q", ErrMalformed, m.Format, ManifestFormat)
	}
	c, err := known.Open([]byte(m.Checkpoint))
	switch {
	case err != nil:
		return Checkpoint{}, fmt.Errorf("checkpoint of the manifest: %w", err)
	case c.OrgID != m.OrgID:
		return Checkpoint{}, fmt.Errorf("%w: the manifest is of organisation %s, its checkpoint of %s", ErrMalformed, m.OrgID, c.OrgID)
	case m.FirstSeq < 1 || m.LastSeq < m.FirstSeq-1 || m.LastSeq > c.Size:
		return Checkpoint{}, fmt.Errorf("%w: entries %d to %d of %d", ErrRange, m.FirstSeq, m.LastSeq, c.Size)
	}
	return c, m.checkFiles(sums)
}

// checkFiles tells everything that is wrong with the files.
func (m Manifest) checkFiles(sums map[string]string) error {
	var errs []error
	left := maps.Clone(sums)
	for _, f := range m.Files {
		sum, ok := left[f.Name]
		delete(left, f.Name)
		switch {
		case !ok:
			errs = append(errs, fmt.Errorf("%w: file %q is not there, or listed twice", ErrMalformed, f.Name))
		case sum != f.SHA256:
			errs = append(errs, fmt.Errorf("%w: file %q is not the one exported", ErrMalformed, f.Name))
		}
	}
	for name := range left {
		errs = append(errs, fmt.Errorf("%w: file %q is not in the manifest", ErrMalformed, name))
	}
	return errors.Join(errs...)
}

// Includes tells whether the manifest proves that the log of its checkpoint, which Check gives, has an entry.
func (m Manifest) Includes(c Checkpoint, e Entry) error {
	for _, i := range m.Inclusion {
		if i.Seq == e.Seq {
			return CheckInclusion(e, i.Proof, c)
		}
	}
	return fmt.Errorf("%w: the manifest has no proof of entry %d", ErrUnproven, e.Seq)
}

// Extends tells whether the manifest proves that the log of its checkpoint, which Check gives, begins with that
// of an earlier one.
func (m Manifest) Extends(c, earlier Checkpoint) error {
	for _, p := range m.Consistency {
		if p.Size == earlier.Size {
			return CheckConsistency(earlier, c, p.Proof)
		}
	}
	return fmt.Errorf("%w: the manifest has no proof of the first %d entries", ErrUnproven, earlier.Size)
}

// has tells whether there is a proof for a size, right or wrong.
func (m Manifest) has(size int64) bool {
	return slices.ContainsFunc(m.Consistency, func(p Consistency) bool { return p.Size == size })
}
