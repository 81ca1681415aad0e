package store_test

import (
	"fmt"
	"os"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"rideout/service/ledger"
	"rideout/store"
	"rideout/store/storetest"
)

// TestSlowReaderHoldsNoConnection stops reading an export in its middle, while the pool has one connection: others go on
// reading and recording, and the export is none the worse.
func TestSlowReaderHoldsNoConnection(t *testing.T) {
	t.Parallel()
	s, err := store.Open(t.Context(), store.Config{URL: storetest.URL(t), MaxConns: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	org := anOrg(t, s)
	w, _ := aWitness(t, s)
	for n := range 60 {
		if err := aRecord(t.Context(), s, org, fmt.Sprintf(`{"n":%d}`, n)); err != nil {
			t.Fatal(err)
		}
	}
	span, err := w.Span(t.Context(), org, time.Time{}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	var slow, swift strings.Builder
	writes := 0
	err = w.Write(t.Context(), org, span, ledger.CSV, func(text []byte) error {
		writes++
		slow.Write(text)
		return aRecord(t.Context(), s, org, `{}`) // on the one connection there is
	})
	if err != nil || writes < 2 {
		t.Fatalf("%d pages, error %v", writes, err)
	}
	err = w.Write(t.Context(), org, span, ledger.CSV, func(text []byte) error { swift.Write(text); return nil })
	if err != nil || slow.String() != swift.String() || strings.Count(slow.String(), "\r\n") != 61 {
		t.Errorf("error %v; the slow reader got\n%s\nthe swift one\n%s", err, slow.String(), swift.String())
	}
}

// TestExportOfAMillion exports and verifies 1,000,000 rows and looks at what is alive meanwhile. It takes minutes, so it runs
// only when asked for: RIDEOUT_TEST_MILLION=1.
func TestExportOfAMillion(t *testing.T) {
	if os.Getenv("RIDEOUT_TEST_MILLION") == "" {
		t.Skip("takes minutes; set RIDEOUT_TEST_MILLION=1")
	}
	const many = 1_000_000
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org := anOrg(t, s)
	manyChanges(t, url, org, many)
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	_, err = conn.Exec(t.Context(), `INSERT INTO records (org_id, kind, id, version, seq, valid_from, recorded_at, by, body, body_sha256)
SELECT org_id, kind, entity_id, version, seq, recorded_at, recorded_at, by, seq::text::json, body_sha256 FROM changes WHERE org_id = $1`, org)
	if err != nil {
		t.Fatal(err)
	}
	w, _ := aWitness(t, s)
	begun := time.Now()
	now := signed(t, w, org) // takes the changes in
	t.Logf("taken in after %v", time.Since(begun))
	span, err := w.Span(t.Context(), org, time.Time{}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	name := t.TempDir() + "/audit.ndjson"
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	begun = time.Now()
	var most uint64
	var m runtime.MemStats
	pages, size := 0, 0
	err = w.Write(t.Context(), org, span, ledger.NDJSON, func(text []byte) error {
		if pages++; pages%10 == 0 {
			runtime.ReadMemStats(&m)
			most = max(most, m.Sys-m.HeapReleased)
		}
		size += len(text)
		_, err := f.Write(text)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d bytes in %d pages written after %v, at most %d MB from the system", size, pages, time.Since(begun), most>>20)
	if most > 128<<20 {
		t.Errorf("%d MB were in use, want less than 128", most>>20)
	}
	begun = time.Now()
	manifest, err := w.Manifest(t.Context(), org, span, ledger.NDJSON, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("manifest after %v", time.Since(begun))
	if _, err := f.Seek(0, 0); err != nil {
		t.Fatal(err)
	}
	report, err := ledger.VerifyAudit(ledger.Audit{Manifest: manifest, Checkpoint: now, Lines: ledger.Lines(f, ledger.NDJSON, org)})
	if err != nil || !report.Sound() || report.Entries != many || report.Bodies != many {
		t.Errorf("%+v, %v", report, err)
	}
}
