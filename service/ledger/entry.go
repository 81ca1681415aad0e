package ledger

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/google/uuid"
	"golang.org/x/mod/sumdb/tlog"
)

// Entry is one change to what an organisation has recorded. The zero value is none; Check tells.
type Entry struct {
	OrgID      uuid.UUID
	Seq        int64     // from 1, without gaps
	RecordedAt time.Time // to the microsecond
	Kind       string    // plan, vessel, gear, ...: 1 to 40 of a to z and _
	EntityID   uuid.UUID
	Version    int    // from 1
	BodySHA256 string // hex, of the body as recorded
	By         string // the name of the key, not the key; empty where it is not known
}

const (
	entryHead  = "rideout entry 1\n"
	timeLayout = "2006-01-02T15:04:05.000000Z"
	maxKind    = 40
	maxBy      = 100 // characters
)

// Check tells what keeps an entry from being recorded. Of entries that pass, different ones have different leaves.
func (e Entry) Check() error {
	at := e.RecordedAt.UTC()
	switch {
	case e.Seq < 1 || e.Seq > maxSeq:
		return fmt.Errorf("%w: seq %d", ErrMalformed, e.Seq)
	case at.Year() < 0 || at.Year() > 9999 || at.Nanosecond()%1000 != 0:
		return fmt.Errorf("%w: time %v is not in microseconds of a year of four digits", ErrMalformed, at)
	case !isWord(e.Kind):
		return fmt.Errorf("%w: kind %q", ErrMalformed, e.Kind)
	case e.Version < 1:
		return fmt.Errorf("%w: version %d", ErrMalformed, e.Version)
	case !isSHA256(e.BodySHA256):
		return fmt.Errorf("%w: body_sha256 %q", ErrMalformed, e.BodySHA256)
	case !utf8.ValidString(e.By) || utf8.RuneCountInString(e.By) > maxBy || strings.ContainsFunc(e.By, unicode.IsControl):
		return fmt.Errorf("%w: by %q", ErrMalformed, e.By)
	}
	return nil
}

// Leaf gives the bytes that stand for the entry in the tree, as the package says.
func (e Entry) Leaf() []byte { return e.appendLeaf(make([]byte, 0, 320)) }

// Hash gives the hash of the entry's leaf.
func (e Entry) Hash() Hash { return tlog.RecordHash(e.Leaf()) }

func (e Entry) appendLeaf(b []byte) []byte {
	b = append(b, entryHead+"org "...)
	b = appendUUID(b, e.OrgID)
	b = append(b, "\nseq "...)
	b = strconv.AppendInt(b, e.Seq, 10)
	b = append(b, "\nat "...)
	b = e.RecordedAt.UTC().AppendFormat(b, timeLayout)
	b = append(b, "\nkind "...)
	b = append(b, e.Kind...)
	b = append(b, "\nentity "...)
	b = appendUUID(b, e.EntityID)
	b = append(b, "\nversion "...)
	b = strconv.AppendInt(b, int64(e.Version), 10)
	b = append(b, "\nbody_sha256 "...)
	b = append(b, e.BodySHA256...)
	b = append(b, "\nby "...)
	b = append(b, e.By...)
	return append(b, '\n')
}

// ParseEntry reads a leaf. It returns ErrMalformed for one that Leaf would not have written.
func ParseEntry(leaf []byte) (Entry, error) {
	text, ok := strings.CutPrefix(string(leaf), entryHead)
	if !ok {
		return Entry{}, fmt.Errorf("%w: an entry does not begin with %q", ErrMalformed, entryHead)
	}
	var value [8]string
	for i, name := range [...]string{"org", "seq", "at", "kind", "entity", "version", "body_sha256", "by"} {
		line, rest, _ := strings.Cut(text, "\n")
		if value[i], ok = strings.CutPrefix(line, name+" "); !ok {
			return Entry{}, fmt.Errorf("%w: an entry has %.40q where %s is due", ErrMalformed, line, name)
		}
		text = rest
	}
	e := Entry{Kind: value[3], BodySHA256: value[6], By: value[7]}
	var errs [5]error
	e.OrgID, errs[0] = uuid.Parse(value[0])
	e.Seq, errs[1] = strconv.ParseInt(value[1], 10, 64)
	e.RecordedAt, errs[2] = time.Parse(time.RFC3339, value[2])
	e.EntityID, errs[3] = uuid.Parse(value[4])
	e.Version, errs[4] = strconv.Atoi(value[5])
	for _, err := range errs {
		if err != nil {
			return Entry{}, fmt.Errorf("%w: %w", ErrMalformed, err)
		}
	}
	if err := e.Check(); err != nil {
		return Entry{}, err
	}
	if !bytes.Equal(e.Leaf(), leaf) {
		return Entry{}, fmt.Errorf("%w: entry %d is not written as it must be", ErrMalformed, e.Seq)
	}
	return e, nil
}

// appendUUID appends the 36 characters of an id.
func appendUUID(b []byte, id uuid.UUID) []byte {
	var text [36]byte
	hex.Encode(text[:8], id[:4])
	for i, at := range [...]int{8, 13, 18} {
		text[at] = '-'
		hex.Encode(text[at+1:at+5], id[4+2*i:6+2*i])
	}
	text[23] = '-'
	hex.Encode(text[24:], id[10:])
	return append(b, text[:]...)
}

func isWord(s string) bool {
	return len(s) >= 1 && len(s) <= maxKind && strings.Trim(s, "abcdefghijklmnopqrstuvwxyz_") == ""
}

func isSHA256(s string) bool { return len(s) == 64 && strings.Trim(s, "0123456789abcdef") == "" }
