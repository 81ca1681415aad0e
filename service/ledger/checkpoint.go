package ledger

import (
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/google/uuid"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// Checkpoint is what a log was at a size. Who keeps a signed one outside can later tell that nothing before it
// was changed, dropped, added or moved. The zero value is the empty log of no organisation, with a root that is wrong.
type Checkpoint struct {
	OrgID uuid.UUID
	Size  int64 // entries
	Root  Hash
}

const (
	origin = "rideout/"
	// maxNote is more than a hundred signatures take, which is where the note's reader gives up.
	maxNote = 64 << 10
)

// Text gives the three lines that are signed.
func (c Checkpoint) Text() string {
	return fmt.Sprintf("%s%s\n%d\n%s\n", origin, c.OrgID, c.Size, c.Root)
}

func (c Checkpoint) check() error {
	if c.Size < 0 || c.Size > maxSeq {
		return fmt.Errorf("%w: a checkpoint of %d entries", ErrMalformed, c.Size)
	}
	if c.Size == 0 && c.Root != emptyRoot() {
		return fmt.Errorf("%w: the root of no entries is another", ErrMalformed)
	}
	return nil
}

func emptyRoot() Hash {
	root, _ := tlog.TreeHash(0, nil) // reads nothing
	return root
}

// Sign signs a checkpoint. A log must never sign two that no consistency proof leads between: before signing,
// hold the new one against the last one signed.
func (s Signer) Sign(c Checkpoint) ([]byte, error) {
	if s.signer == nil {
		return nil, errors.New("sign a checkpoint: no key")
	}
	if err := c.check(); err != nil {
		return nil, err
	}
	signed, err := note.Sign(&note.Note{Text: c.Text()}, s.signer)
	if err != nil {
		return nil, fmt.Errorf("sign a checkpoint: %w", err)
	}
	return signed, nil
}

// Open reads a signed checkpoint. It returns ErrUnsigned when no known key signed it or one did wrongly, and
// ErrMalformed for what is no checkpoint. Signatures of other keys, such as witnesses', are passed over.
func (v Verifiers) Open(signed []byte) (Checkpoint, error) {
	if len(signed) > maxNote {
		return Checkpoint{}, fmt.Errorf("%w: a checkpoint of %d bytes", ErrMalformed, len(signed))
	}
	n, err := note.Open(signed, v.known)
	var unverified *note.UnverifiedNoteError
	var invalid *note.InvalidSignatureError
	switch {
	case errors.As(err, &unverified), errors.As(err, &invalid):
		return Checkpoint{}, fmt.Errorf("%w: %w", ErrUnsigned, err)
	case err != nil:
		return Checkpoint{}, fmt.Errorf("%w: %w", ErrMalformed, err)
	}
	return parseCheckpoint(n.Text)
}

// parseCheckpoint reads the three lines, and nothing that Text would not have written.
func parseCheckpoint(text string) (Checkpoint, error) {
	lines := strings.Split(text, "\n")
	if len(lines) != 4 || !strings.HasPrefix(lines[0], origin) {
		return Checkpoint{}, fmt.Errorf("%w: not three lines that begin with %s", ErrMalformed, origin)
	}
	org, err1 := uuid.Parse(strings.TrimPrefix(lines[0], origin))
	size, err2 := strconv.ParseInt(lines[1], 10, 64)
	root, err3 := parseHash([]byte(lines[2]))
	c := Checkpoint{org, size, root}
	if err := errors.Join(err1, err2, err3); err != nil {
		return Checkpoint{}, fmt.Errorf("%w: checkpoint: %w", ErrMalformed, err)
	}
	if c.Text() != text {
		return Checkpoint{}, fmt.Errorf("%w: a checkpoint is not written as it must be", ErrMalformed)
	}
	return c, c.check()
}

// strict reads of several ways to write the last digit only the right one.
var strict = base64.StdEncoding.Strict()

func parseHash(text []byte) (Hash, error) {
	var raw [tlog.HashSize + 1]byte // as base64 counts the room for 44 digits
	if len(text) == strict.EncodedLen(tlog.HashSize) {
		if n, err := strict.Decode(raw[:], text); err == nil && n == tlog.HashSize {
			return Hash(raw[:n]), nil
		}
	}
	return Hash{}, fmt.Errorf("%w: hash %.50q", ErrMalformed, text)
}
