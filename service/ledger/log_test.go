package ledger_test

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"iter"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service/ledger"
)

var org = uuid.MustParse("019aa3c1-5f00-7000-8000-000000000001")

// change is the nth change of an invented organisation.
func change(n int64) ledger.Entry {
	kinds := [...]string{"plan", "vessel", "gear", "incident_note"}
	id := uuid.NewSHA1(org, []byte(fmt.Sprint("thing ", n/3)))
	return ledger.Entry{
		OrgID: org, Seq: n, RecordedAt: time.Date(2026, 11, 14, 7, 0, 0, 0, time.UTC).Add(time.Duration(n) * 1234567 * time.Microsecond),
		Kind: kinds[n%4], EntityID: id, Version: int(n%3) + 1, BodySHA256: hexSHA256(bodyOf(n)), By: "ro_k3m9x2pq",
	}
}

func bodyOf(n int64) string { return fmt.Sprintf(`{"seq":%d}`, n) }

func hexSHA256(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

// store is what a superuser can rewrite: the entries and the hashes kept with them.
type store struct {
	entries []ledger.Entry
	hashes  []ledger.Hash
}

func (s *store) ReadHashes(indexes []int64) ([]ledger.Hash, error) {
	found := make([]ledger.Hash, len(indexes))
	for i, index := range indexes {
		if index >= int64(len(s.hashes)) {
			return nil, fmt.Errorf("no hash %d", index)
		}
		found[i] = s.hashes[index]
	}
	return found, nil
}

// record appends entries as a store does.
func (s *store) record(t testing.TB, entries ...ledger.Entry) {
	t.Helper()
	for _, e := range entries {
		stored, err := ledger.Append(e, s)
		if err != nil {
			t.Fatal(err)
		}
		for _, h := range stored {
			if h.Index != int64(len(s.hashes)) {
				t.Fatalf("a hash of entry %d has index %d, want %d", e.Seq, h.Index, len(s.hashes))
			}
			s.hashes = append(s.hashes, h.Hash)
		}
		s.entries = append(s.entries, e)
	}
}

// grown is a store of so many changes.
func grown(t testing.TB, size int64) *store {
	t.Helper()
	s := &store{}
	for n := int64(1); n <= size; n++ {
		s.record(t, change(n))
	}
	return s
}

func (s *store) copy() *store { return &store{slices.Clone(s.entries), slices.Clone(s.hashes)} }

// rehashed is a store whose hashes all fit its entries again.
func (s *store) rehashed(t testing.TB) *store {
	t.Helper()
	again := &store{}
	again.record(t, s.entries...)
	return again
}

func (s *store) at(t testing.TB, size int64) ledger.Checkpoint {
	t.Helper()
	root, err := ledger.Root(size, s)
	if err != nil {
		t.Fatal(err)
	}
	return ledger.Checkpoint{OrgID: org, Size: size, Root: root}
}

func each[T any](list []T) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		for _, x := range list {
			if !yield(x, nil) {
				return
			}
		}
	}
}

func records(entries []ledger.Entry) iter.Seq2[ledger.Record, error] {
	list := make([]ledger.Record, len(entries))
	for i, e := range entries {
		list[i] = ledger.Record{Entry: e}
	}
	return each(list)
}

// verified verifies a store against checkpoints.
func (s *store) verified(t testing.TB, checkpoints ...ledger.Checkpoint) ledger.Report {
	t.Helper()
	return verified(t, ledger.Log{OrgID: org, Records: records(s.entries), Hashes: each(s.hashes), Checkpoints: checkpoints})
}

func verified(t testing.TB, log ledger.Log) ledger.Report {
	t.Helper()
	report, err := ledger.Verify(log)
	if err != nil {
		t.Fatal(err)
	}
	return report
}

// renumber gives entries numbers from 1 again.
func renumber(entries []ledger.Entry) {
	for i := range entries {
		entries[i].Seq = int64(i) + 1
	}
}

// forged alters one field of an entry.
func forged(e ledger.Entry, r *rand.Rand) ledger.Entry {
	was := e
	for e == was {
		switch r.IntN(6) {
		case 0:
			e.RecordedAt = e.RecordedAt.Add(time.Microsecond)
		case 1:
			e.Kind = "drill"
		case 2:
			e.EntityID[r.IntN(16)] ^= 1 << r.IntN(8)
		case 3:
			e.Version++
		case 4:
			e.BodySHA256 = hexSHA256(e.BodySHA256)
		case 5:
			e.By += "x"
		}
	}
	return e
}
