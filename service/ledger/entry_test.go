package ledger_test

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service/ledger"
)

// TestLeafIsWhatThePackageSays holds the encoding to the example of the package's description.
func TestLeafIsWhatThePackageSays(t *testing.T) {
	t.Parallel()
	e := ledger.Entry{
		OrgID: org, Seq: 17, RecordedAt: time.Date(2026, 11, 14, 8, 8, 9, 123456000, time.FixedZone("", 3600)), Kind: "plan",
		EntityID: uuid.MustParse("019aa3c1-5f00-7000-8000-0000000000aa"), Version: 3,
		BodySHA256: "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08", By: "ro_k3m9x2pq",
	}
	want := `rideout entry 1
org 019aa3c1-5f00-7000-8000-000000000001
seq 17
at 2026-11-14T07:08:09.123456Z
kind plan
entity 019aa3c1-5f00-7000-8000-0000000000aa
version 3
body_sha256 9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08
by ro_k3m9x2pq
`
	if got := string(e.Leaf()); got != want {
		t.Errorf("leaf:\n%swant:\n%s", got, want)
	}
	if got, want := e.Hash(), ledger.Hash(sha256.Sum256([]byte("\x00"+want))); got != want {
		t.Errorf("hash %s, want %s", got, want)
	}
	if got := string(ledger.AppendEntry([]byte("x"), e)); got != "x"+want+"\n" {
		t.Errorf("in a file: %q", got)
	}
}

func TestLeafReadsBack(t *testing.T) {
	t.Parallel()
	entries := []ledger.Entry{change(1), change(2), change(1000)}
	for _, alter := range []func(*ledger.Entry){
		func(e *ledger.Entry) { e.By = "" },
		func(e *ledger.Entry) { e.By = " by  " + strings.Repeat("é", 95) },
		func(e *ledger.Entry) { e.RecordedAt = time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC) },
		func(e *ledger.Entry) { e.RecordedAt = time.Date(9999, 12, 31, 23, 59, 59, 999999000, time.UTC) },
		func(e *ledger.Entry) { e.Kind, e.Seq, e.Version = strings.Repeat("_", 40), 1<<48, 1<<31-1 },
		func(e *ledger.Entry) { e.OrgID, e.EntityID = uuid.Nil, uuid.Max },
	} {
		e := change(3)
		alter(&e)
		entries = append(entries, e)
	}
	seen := map[ledger.Hash]bool{}
	for _, e := range entries {
		got, err := ledger.ParseEntry(e.Leaf())
		if err != nil || !got.RecordedAt.Equal(e.RecordedAt) {
			t.Errorf("%q reads back as %v, %v", e.Leaf(), got, err)
		}
		got.RecordedAt = e.RecordedAt
		if got != e {
			t.Errorf("%q reads back as %v, want %v", e.Leaf(), got, e)
		}
		if seen[e.Hash()] {
			t.Errorf("%v has the hash of another", e)
		}
		seen[e.Hash()] = true
	}
}

func TestEntryOutOfFormIsRefused(t *testing.T) {
	t.Parallel()
	for name, alter := range map[string]func(*ledger.Entry){
		"seq 0":            func(e *ledger.Entry) { e.Seq = 0 },
		"seq huge":         func(e *ledger.Entry) { e.Seq = 1<<48 + 1 },
		"nanoseconds":      func(e *ledger.Entry) { e.RecordedAt = e.RecordedAt.Add(1) },
		"year 10000":       func(e *ledger.Entry) { e.RecordedAt = time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC) },
		"year -1":          func(e *ledger.Entry) { e.RecordedAt = time.Date(-1, 1, 1, 0, 0, 0, 0, time.UTC) },
		"no kind":          func(e *ledger.Entry) { e.Kind = "" },
		"kind of two":      func(e *ledger.Entry) { e.Kind = "plan\nby x" },
		"long kind":        func(e *ledger.Entry) { e.Kind = strings.Repeat("a", 41) },
		"version 0":        func(e *ledger.Entry) { e.Version = 0 },
		"short hash":       func(e *ledger.Entry) { e.BodySHA256 = e.BodySHA256[1:] },
		"upper-case hash":  func(e *ledger.Entry) { e.BodySHA256 = strings.Repeat("A", 64) },
		"by of two lines":  func(e *ledger.Entry) { e.By = "a\nb" },
		"by not in UTF-8":  func(e *ledger.Entry) { e.By = "\xff" },
		"by of 101":        func(e *ledger.Entry) { e.By = strings.Repeat("é", 101) },
		"by with a delete": func(e *ledger.Entry) { e.By = "a\x7f" },
	} {
		e := change(1)
		alter(&e)
		if err := e.Check(); !errors.Is(err, ledger.ErrMalformed) {
			t.Errorf("%s: error %v, want ErrMalformed", name, err)
		}
		if _, err := ledger.Append(e, &store{}); !errors.Is(err, ledger.ErrMalformed) {
			t.Errorf("append of %s: error %v, want ErrMalformed", name, err)
		}
	}
}

func TestLeafWrittenOtherwiseIsRefused(t *testing.T) {
	t.Parallel()
	leaf := string(change(12).Leaf())
	for name, text := range map[string]string{
		"nothing":          "",
		"another version":  strings.Replace(leaf, "entry 1", "entry 2", 1),
		"no end":           strings.TrimSuffix(leaf, "\n"),
		"something more":   leaf + "\n",
		"a further line":   leaf + "note x\n",
		"carriage returns": strings.ReplaceAll(leaf, "\n", "\r\n"),
		"another order":    strings.Replace(strings.Replace(leaf, "version 1\n", "", 1), "kind ", "version 1\nkind ", 1),
		"a field missing":  strings.Replace(leaf, "kind plan\n", "", 1),
		"plus":             strings.Replace(leaf, "seq 12", "seq +12", 1),
		"leading zero":     strings.Replace(leaf, "seq 12", "seq 012", 1),
		"two spaces":       strings.Replace(leaf, "seq 12", "seq  12", 1),
		"no number":        strings.Replace(leaf, "version 1", "version one", 1),
		"number too large": strings.Replace(leaf, "version 1", "version 99999999999999999999", 1),
		"short fraction":   strings.Replace(leaf, "Z\n", "Z\n", 1)[:strings.Index(leaf, "Z\n")-1] + leaf[strings.Index(leaf, "Z\n"):],
		"offset":           strings.Replace(leaf, "Z\n", "+00:00\n", 1),
		"no time":          strings.Replace(leaf, "at 2026", "at 2x26", 1),
		"upper-case id":    strings.Replace(leaf, org.String(), strings.ToUpper(org.String()), 1),
		"id in braces":     strings.Replace(leaf, org.String(), "{"+org.String()+"}", 1),
		"no id":            strings.Replace(leaf, org.String(), "1", 1),
		"no hash":          strings.Replace(leaf, "body_sha256 ", "body_sha256 z", 1),
	} {
		if e, err := ledger.ParseEntry([]byte(text)); !errors.Is(err, ledger.ErrMalformed) {
			t.Errorf("%s is read as %v, %v; want ErrMalformed", name, e, err)
		}
	}
}

// FuzzParseEntry holds that whatever is read is written again as it was.
func FuzzParseEntry(f *testing.F) {
	f.Add(change(1).Leaf())
	f.Add(bytes.ReplaceAll(change(2).Leaf(), []byte("Z"), []byte("+00:00")))
	f.Fuzz(func(t *testing.T, leaf []byte) {
		e, err := ledger.ParseEntry(leaf)
		if err != nil {
			if !errors.Is(err, ledger.ErrMalformed) {
				t.Errorf("error %v, want ErrMalformed", err)
			}
			return
		}
		if again := e.Leaf(); !bytes.Equal(again, leaf) {
			t.Errorf("%q was read, and written as %q", leaf, again)
		}
	})
}
