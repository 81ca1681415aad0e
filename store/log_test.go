package store_test

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
	"rideout/service/ledger"
	"rideout/store"
	"rideout/store/storetest"
)

// aWitness signs a store's logs with a key of its own.
func aWitness(t testing.TB, s *store.Store) (*service.Witness, ledger.Verifiers) {
	t.Helper()
	private, public, err := ledger.GenerateKey(rand.Reader, "rideout.example")
	if err != nil {
		t.Fatal(err)
	}
	signer, err1 := ledger.NewSigner(private)
	known, err2 := ledger.NewVerifiers(public)
	if err := errors.Join(err1, err2); err != nil {
		t.Fatal(err)
	}
	return &service.Witness{Log: s, Clock: time.Now, Signer: signer}, known
}

func aWitnessOf(t testing.TB, log service.Log) *service.Witness {
	t.Helper()
	w, _ := aWitness(t, nil)
	w.Log = log
	return w
}

// changed records n changes.
func changed(t testing.TB, s *store.Store, org service.OrgID, n int) {
	t.Helper()
	for range n {
		if err := aChange(t.Context(), s, org, nothing, nothing); err != nil {
			t.Fatal(err)
		}
	}
}

func signed(t testing.TB, w *service.Witness, org service.OrgID) ledger.Checkpoint {
	t.Helper()
	c, err := w.Checkpoint(t.Context(), org)
	if err != nil {
		t.Fatal(err)
	}
	return c.Checkpoint
}

// exported is what a caller takes home of a log.
type exported struct {
	entries []ledger.Entry
	hashes  []ledger.Hash
}

func export(t testing.TB, w *service.Witness, org service.OrgID) (e exported) {
	t.Helper()
	for after := int64(0); ; {
		page, err := w.Entries(t.Context(), org, after, 100)
		if err != nil {
			t.Fatal(err)
		}
		if len(page.Items) == 0 {
			break
		}
		e.entries = append(e.entries, page.Items...)
		after = page.Items[len(page.Items)-1].Seq
	}
	for {
		page, err := w.Hashes(t.Context(), org, int64(len(e.hashes)), 100)
		if err != nil {
			t.Fatal(err)
		}
		if len(page.Items) == 0 {
			return e
		}
		e.hashes = append(e.hashes, page.Items...)
	}
}

func (e exported) verified(t testing.TB, org service.OrgID, checkpoints ...ledger.Checkpoint) ledger.Report {
	t.Helper()
	report, err := ledger.Verify(ledger.Log{
		OrgID: org, Checkpoints: checkpoints,
		Records: func(yield func(ledger.Record, error) bool) {
			for _, entry := range e.entries {
				if !yield(ledger.Record{Entry: entry}, nil) {
					return
				}
			}
		},
		Hashes: func(yield func(ledger.Hash, error) bool) {
			for _, h := range e.hashes {
				if !yield(h, nil) {
					return
				}
			}
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	return report
}

// TestEachChangeGrowsTheTree holds what the store keeps against package ledger, which is held against RFC 6962's vectors.
func TestEachChangeGrowsTheTree(t *testing.T) {
	t.Parallel()
	s := storetest.New(t)
	org, other := anOrg(t, s), anOrg(t, s)
	w, known := aWitness(t, s)
	if c := signed(t, w, org); c.Size != 0 {
		t.Fatalf("a log without changes has a checkpoint of %d", c.Size)
	}
	var kept []ledger.Checkpoint
	for n := range 20 {
		if n%3 == 0 {
			keep(t, s, org, aPlan())
		} else {
			changed(t, s, org, 1)
		}
		changed(t, s, other, 1)
		c, err := w.Checkpoint(t.Context(), org)
		if err != nil {
			t.Fatal(err)
		}
		if opened, err := known.Open(c.Note); err != nil || opened != c.Checkpoint || c.Size != int64(n+1) || c.OrgID != org {
			t.Fatalf("after %d changes the checkpoint is %+v, opened %+v, error %v", n+1, c.Checkpoint, opened, err)
		}
		kept = append(kept, c.Checkpoint)
	}
	e := export(t, w, org)
	if report := e.verified(t, org, kept...); !report.Sound() || report.Proven != 20 || report.Hashes != ledger.HashCount(20) {
		t.Errorf("%+v", report)
	}
	for _, c := range kept {
		for _, entry := range e.entries[:c.Size] {
			p, err := w.ProveInclusion(t.Context(), org, entry.Seq, c.Size)
			if err != nil || p.Entry != entry || p.Root != c.Root {
				t.Fatalf("entry %d of %d: %+v, %v", entry.Seq, c.Size, p, err)
			}
			if err := ledger.CheckInclusion(entry, p.Proof, c); err != nil {
				t.Errorf("entry %d of %d: %v", entry.Seq, c.Size, err)
			}
		}
		last := kept[len(kept)-1]
		p, err := w.ProveConsistency(t.Context(), org, c.Size, 0)
		if err != nil || p.To != last.Size || p.FromRoot != c.Root || p.ToRoot != last.Root {
			t.Fatalf("%d: %+v, %v", c.Size, p, err)
		}
		if err := ledger.CheckConsistency(c, last, p.Proof); err != nil {
			t.Errorf("%d: %v", c.Size, err)
		}
	}
	again, err := w.Checkpoint(t.Context(), org)
	if first, err2 := w.Checkpoint(t.Context(), org); err != nil || err2 != nil || string(first.Note) != string(again.Note) {
		t.Errorf("a checkpoint of the same size is another: %q, %q", first.Note, again.Note)
	}
}

func TestProofsBeyondTheLogAreRefused(t *testing.T) {
	t.Parallel()
	s := storetest.New(t)
	org := anOrg(t, s)
	w, _ := aWitness(t, s)
	changed(t, s, org, 3)
	for name, prove := range map[string]func() error{
		"size": func() error { _, err := w.ProveInclusion(t.Context(), org, 1, 4); return err },
		"seq":  func() error { _, err := w.ProveInclusion(t.Context(), org, 3, 2); return err },
		"to":   func() error { _, err := w.ProveConsistency(t.Context(), org, 1, 4); return err },
		"from": func() error { _, err := w.ProveConsistency(t.Context(), org, 3, 2); return err },
	} {
		var wrong *service.ParameterError
		if err := prove(); !errors.As(err, &wrong) || wrong.Name != name {
			t.Errorf("%s: error %v, want it named", name, err)
		}
	}
	_, err := w.Entries(t.Context(), uuid.New(), 0, 1)
	var known *service.Error
	if !errors.As(err, &known) || known.Kind != service.KindNotFound {
		t.Errorf("an organisation there is not: error %v", err)
	}
	if _, err := (&service.Witness{Log: s}).Checkpoint(t.Context(), org); !errors.As(err, &known) || known.Kind != service.KindUnsigned {
		t.Errorf("without a key: error %v", err)
	}
}

// forget is what a program that knows of no tree leaves behind: changes without hashes.
func forget(t *testing.T, url string, org service.OrgID, from int64) {
	t.Helper()
	asSuperuser(t, url, `DELETE FROM log_hashes WHERE org_id = $1 AND index >= $2`, org, ledger.HashCount(from-1))
}

// asSuperuser does what the owner of the database can do, past the triggers.
func asSuperuser(t *testing.T, url, sql string, args ...any) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(t.Context()))
	if _, err := conn.Exec(t.Context(), `SET session_replication_role = replica`); err != nil {
		t.Fatal(err)
	}
	if _, err := conn.Exec(t.Context(), sql, args...); err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
}

// TestEarlierChangesAreTakenIn records changes, some of them by a program that knows of no tree, as before an update or
// beside one, and holds the tree that comes of it against one that grew with every change.
func TestEarlierChangesAreTakenIn(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	w, _ := aWitness(t, s)
	for _, without := range [][2]int64{{1, 40}, {13, 40}, {40, 40}, {16, 32}, {32, 33}} { // from which to which change
		org := anOrg(t, s)
		changed(t, s, org, int(without[1]))
		want := export(t, w, org)
		forget(t, url, org, without[0])
		if without[1]%2 == 0 { // by the next change
			changed(t, s, org, 1)
		} // else by the next reader
		got := export(t, w, org)
		if !slices.Equal(got.hashes[:len(want.hashes)], want.hashes) {
			t.Errorf("%v: the hashes taken in are others", without)
		}
		if report := got.verified(t, org, signed(t, w, org)); !report.Sound() || report.Proven != int64(len(got.entries)) {
			t.Errorf("%v: %+v", without, report)
		}
	}
}

// A group of hashes of one entry is kept or not kept as a whole; half of one is what somebody deleted.
func TestHalfAGroupIsTakenIn(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	w, _ := aWitness(t, s)
	org := anOrg(t, s)
	changed(t, s, org, 16)
	want := export(t, w, org)
	for cut := range int64(len(want.hashes)) {
		asSuperuser(t, url, `DELETE FROM log_hashes WHERE org_id = $1 AND index >= $2`, org, cut)
		if got := export(t, w, org); !slices.Equal(got.hashes, want.hashes) {
			t.Errorf("cut at %d: the hashes taken in are others", cut)
		}
	}
}

func TestManyChangesTakenIn(t *testing.T) {
	t.Parallel()
	const many = 12_345 // several statements
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org := anOrg(t, s)
	manyChanges(t, url, org, many)
	changed(t, s, org, 1)
	w, _ := aWitness(t, s)
	if report := export(t, w, org).verified(t, org, signed(t, w, org)); !report.Sound() || report.Proven != many+1 {
		t.Errorf("%+v", report)
	}
}

// manyChanges writes changes as a program that knows of no tree.
func manyChanges(t testing.TB, url string, org service.OrgID, n int) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(t.Context()))
	for _, sql := range []string{
		`INSERT INTO changes (org_id, seq, recorded_at, kind, entity_id, version, body_sha256, by)
SELECT $1, n, '2026-01-01T00:00:00Z'::timestamptz + n * interval '1 ms', 'vessel', gen_random_uuid(), 1, encode(sha256(n::text::bytea), 'hex'), 'ro_test'
FROM generate_series(1, $2::bigint) n`,
		`UPDATE organisation_log SET seq = $2::bigint, known_until = '2026-01-01T00:00:00Z'::timestamptz + $2::bigint * interval '1 ms' WHERE org_id = $1`,
	} {
		if _, err := conn.Exec(t.Context(), sql, org, n); err != nil {
			t.Fatal(err)
		}
	}
}

func TestLogIsAppendOnly(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org := anOrg(t, s)
	changed(t, s, org, 2)
	w, _ := aWitness(t, s)
	signed(t, w, org)
	for _, table := range []string{"log_hashes", "log_checkpoints"} {
		for _, sql := range []string{`UPDATE ` + table + ` SET org_id = org_id`, `DELETE FROM ` + table, `TRUNCATE ` + table} {
			if _, err := tryAsk(t, url, sql); err == nil || !strings.Contains(err.Error(), "append-only") {
				t.Errorf("%s: error %v, want it refused", sql, err)
			}
		}
	}
}

func BenchmarkRecord(b *testing.B) {
	for _, orgs := range []int{1, 200} {
		b.Run(fmt.Sprintf("organisations=%d", orgs), func(b *testing.B) {
			s := storetest.New(b)
			ids := make(chan service.OrgID, orgs)
			for range orgs {
				ids <- anOrg(b, s)
			}
			b.SetParallelism(4)
			b.ResetTimer()
			b.RunParallel(func(pb *testing.PB) {
				for pb.Next() {
					org := <-ids
					ids <- org
					if err := aChange(b.Context(), s, org, nothing, nothing); err != nil {
						b.Error(err)
						return
					}
				}
			})
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "changes/s")
		})
	}
}

// BenchmarkTakeIn is the first change after an update, of an organisation that has recorded 100,000 before.
func BenchmarkTakeIn(b *testing.B) {
	const many = 100_000
	for b.Loop() {
		b.StopTimer()
		url := storetest.URL(b)
		s := storetest.Open(b, url)
		org := anOrg(b, s)
		manyChanges(b, url, org, many)
		b.StartTimer()
		changed(b, s, org, 1)
	}
	b.ReportMetric(many*float64(b.N)/b.Elapsed().Seconds(), "changes/s")
}
