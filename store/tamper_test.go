package store_test

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/ledger"
	"rideout/store"
	"rideout/store/storetest"
)

// aRecord records a version whose body is hashed as it is.
func aRecord(ctx context.Context, s *store.Store, org service.OrgID, body string) error {
	return s.Change(ctx, org, func(ctx context.Context, r service.Recorder) error {
		stamp, err := r.Turn(ctx, time.Now)
		if err != nil {
			return err
		}
		sum := sha256.Sum256([]byte(body))
		return r.Record(ctx, service.Version{
			Kind: fleet.KindVessel, ID: uuid.New(), Version: 1, Seq: stamp.Seq, RecordedAt: stamp.RecordedAt, ValidFrom: stamp.RecordedAt,
			By: "ro_test", Body: []byte(body), BodySHA256: hex.EncodeToString(sum[:]),
		})
	})
}

// A log of 20 entries, its witness, and what somebody took home when it had 12.
type kept struct {
	url        string
	store      *store.Store
	org        service.OrgID
	witness    *service.Witness
	checkpoint ledger.Checkpoint
	hashes     []ledger.Hash
}

func aKeptLog(t *testing.T) kept {
	t.Helper()
	k := kept{url: storetest.URL(t)}
	k.store = storetest.Open(t, k.url)
	k.org = anOrg(t, k.store)
	k.witness, _ = aWitness(t, k.store)
	for n := range 20 {
		if n == 12 {
			k.checkpoint, k.hashes = signed(t, k.witness, k.org), export(t, k.witness, k.org).hashes
		}
		if err := aRecord(t.Context(), k.store, k.org, fmt.Sprintf(`{"n": %d}`, n+1)); err != nil {
			t.Fatal(err)
		}
	}
	return k
}

// TestTamperingIsFound does to the tables what their owner can do and nobody else, and verifies with what was kept outside and
// what the store still has: the hashes, the checkpoint signed last, or neither.
func TestTamperingIsFound(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		sql  []string
		want string // the first finding, by the hashes in the store
	}{
		"a name is flipped":     {[]string{`UPDATE changes SET by = 'ro_other' WHERE org_id = $1 AND seq = 7`}, "changed 7-7"},
		"a time is flipped":     {[]string{`UPDATE changes SET recorded_at = recorded_at + interval '1 us' WHERE org_id = $1 AND seq = 7`}, "changed 7-7"},
		"a body is exchanged":   {[]string{`UPDATE changes SET body_sha256 = repeat('0', 64) WHERE org_id = $1 AND seq = 7`}, "changed 7-7"},
		"one is deleted":        {[]string{`DELETE FROM changes WHERE org_id = $1 AND seq = 7`}, "missing 7-7"},
		"two are deleted":       {[]string{`DELETE FROM changes WHERE org_id = $1 AND seq IN (7, 8)`}, "missing 7-8"},
		"two change places":     {[]string{`UPDATE changes SET seq = -seq WHERE org_id = $1 AND seq IN (5, 9)`, `UPDATE changes SET seq = CASE seq WHEN -5 THEN 9 ELSE 5 END WHERE org_id = $1 AND seq < 0`}, "changed 5-5"},
		"one is put in":         {insertedAt7, "changed 7-12"},
		"the tail is cut":       {[]string{`DELETE FROM changes WHERE org_id = $1 AND seq > 10`}, "missing 11-20"},
		"all is truncated":      {[]string{`DELETE FROM changes WHERE org_id = $1`}, "missing 1-20"},
		"a hash is flipped":     {[]string{`UPDATE log_hashes SET hash = sha256(hash) WHERE org_id = $1 AND index = 3`}, "hash 3-3"},
		"a hash is deleted":     {[]string{`DELETE FROM log_hashes WHERE org_id = $1 AND index = 3`}, "hash 3-3"},
		"an organisation's own": {[]string{`UPDATE changes SET org_id = org_id WHERE org_id = $1`}, ""}, // nothing happened
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := aKeptLog(t)
			now := signed(t, k.witness, k.org)
			k.tamper(t, c.sql...)
			got := export(t, k.witness, k.org)
			report := got.verified(t, k.org, k.checkpoint, now)
			first := ""
			if len(report.Findings) > 0 {
				f := report.Findings[0]
				first = fmt.Sprintf("%s %d-%d", f.Kind, f.First, f.Last)
			}
			if first != c.want {
				t.Errorf("found %v, want %s first", report.Findings, c.want)
			}
		})
	}
}

// The entries from 7 on get a number more, and another becomes the seventh.
var insertedAt7 = []string{
	`UPDATE changes SET seq = -seq - 1 WHERE org_id = $1 AND seq >= 7`,
	`UPDATE changes SET seq = -seq WHERE org_id = $1 AND seq < 0`,
	`INSERT INTO changes SELECT org_id, 7, recorded_at, kind, gen_random_uuid(), version, body_sha256, by FROM changes WHERE org_id = $1 AND seq = 6`,
	`UPDATE organisation_log SET seq = seq + 1 WHERE org_id = $1`,
}

// tamper runs statements as a superuser, past triggers, foreign keys, and what a number may be.
func (k kept) tamper(t *testing.T, statements ...string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), k.url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(t.Context()))
	for _, sql := range append([]string{`SET session_replication_role = replica`, `ALTER TABLE changes DROP CONSTRAINT changes_seq_range`}, statements...) {
		var args []any
		if strings.Contains(sql, "$1") {
			args = append(args, k.org)
		}
		if _, err := conn.Exec(t.Context(), sql, args...); err != nil {
			t.Fatalf("%s: %v", sql, err)
		}
	}
}

// fitted makes every stored hash fit the entries there are, and forgets what was signed: nothing in the store tells.
var fitted = []string{`DELETE FROM log_hashes WHERE org_id = $1`, `DELETE FROM log_checkpoints WHERE org_id = $1`}

// TestHistoryRewrittenAsAWholeIsFound makes hashes and signature fit. Only what was kept outside tells, and with the hashes kept
// it names the entry.
func TestHistoryRewrittenAsAWholeIsFound(t *testing.T) {
	t.Parallel()
	k := aKeptLog(t)
	k.tamper(t, append([]string{`UPDATE changes SET by = 'ro_other' WHERE org_id = $1 AND seq = 7`}, fitted...)...)
	now := signed(t, k.witness, k.org)
	got := export(t, k.witness, k.org)
	if report := got.verified(t, k.org, now); !report.Sound() {
		t.Errorf("by the store alone: found %v, want that it tells nothing", report.Findings)
	}
	if report := got.verified(t, k.org, k.checkpoint, now); report.Sound() || report.Findings[0].Kind != ledger.KindWithin || report.Findings[0].Last != 12 || report.Proven != 0 {
		t.Errorf("by the checkpoint kept: %+v", report)
	}
	got.hashes = k.hashes
	report := got.verified(t, k.org, k.checkpoint, now)
	if !slices.ContainsFunc(report.Findings, func(f ledger.Finding) bool { return f.Kind == ledger.KindChanged && f.First == 7 && f.Last == 7 }) {
		t.Errorf("by the hashes kept: found %v, want entry 7", report.Findings)
	}
}

// TestCutTailIsFound cuts entries, hashes, numbers and what was signed alike.
func TestCutTailIsFound(t *testing.T) {
	t.Parallel()
	k := aKeptLog(t)
	k.tamper(t, append([]string{
		`DELETE FROM records WHERE org_id = $1 AND seq > 10`, `DELETE FROM changes WHERE org_id = $1 AND seq > 10`,
		`UPDATE organisation_log SET seq = 10 WHERE org_id = $1`,
	}, fitted...)...)
	now := signed(t, k.witness, k.org)
	got := export(t, k.witness, k.org)
	if report := got.verified(t, k.org, now); now.Size != 10 || !report.Sound() {
		t.Errorf("by the store alone: %+v, want that it tells nothing", report)
	}
	report := got.verified(t, k.org, k.checkpoint, now)
	if len(report.Findings) != 1 || report.Findings[0].Kind != ledger.KindCut || report.Findings[0].First != 11 || report.Findings[0].Last != 12 {
		t.Errorf("by the checkpoint kept: found %v, want that 11 and 12 are cut", report.Findings)
	}
}

// TestAlteredLogIsNotSigned alters the hashes under a checkpoint that the store still knows to be signed.
func TestAlteredLogIsNotSigned(t *testing.T) {
	t.Parallel()
	for name, sql := range map[string][]string{
		"rewritten":        {`UPDATE changes SET by = 'ro_other' WHERE org_id = $1 AND seq = 7`, `DELETE FROM log_hashes WHERE org_id = $1`},
		"cut":              {`DELETE FROM changes WHERE org_id = $1 AND seq > 10`, `DELETE FROM log_hashes WHERE org_id = $1`, `UPDATE organisation_log SET seq = 10 WHERE org_id = $1`},
		"hashes left over": {`DELETE FROM changes WHERE org_id = $1 AND seq > 10`, `UPDATE organisation_log SET seq = 10 WHERE org_id = $1`},
		"a change is gone": {`DELETE FROM changes WHERE org_id = $1 AND seq = 7`, `DELETE FROM log_hashes WHERE org_id = $1`},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := aKeptLog(t)
			k.tamper(t, sql...)
			_, err := k.witness.Checkpoint(t.Context(), k.org)
			var told *service.Error
			if !errors.As(err, &told) || told.Kind != service.KindAltered {
				t.Errorf("error %v, want %s", err, service.KindAltered)
			}
		})
	}
}

// TestExchangedBodyIsFound rewrites what was recorded and leaves the log alone.
func TestExchangedBodyIsFound(t *testing.T) {
	t.Parallel()
	k := aKeptLog(t)
	report := k.audited(t)
	if !report.Sound() || report.Bodies != 20 {
		t.Fatalf("untouched: %+v", report)
	}
	k.tamper(t, `UPDATE records SET body = '{"n": 77}' WHERE org_id = $1 AND seq = 7`, `DELETE FROM records WHERE org_id = $1 AND seq = 9`)
	report = k.audited(t)
	if len(report.Findings) != 2 || report.Findings[0].Kind != ledger.KindBody || report.Findings[0].First != 7 || report.Findings[1].First != 9 {
		t.Errorf("found %v, want the bodies of 7 and 9", report.Findings)
	}
}

// audited exports and verifies all there is, as a caller does.
func (k kept) audited(t *testing.T) ledger.Report {
	t.Helper()
	span, err := k.witness.Span(t.Context(), k.org, time.Time{}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	m, err := k.witness.Manifest(t.Context(), k.org, span, ledger.NDJSON, k.checkpoint.Size)
	if err != nil {
		t.Fatal(err)
	}
	var file strings.Builder
	err = k.witness.Write(t.Context(), k.org, span, ledger.NDJSON, func(text []byte) error { file.Write(text); return nil })
	if err != nil {
		t.Fatal(err)
	}
	report, err := ledger.VerifyAudit(ledger.Audit{
		Manifest: m, Checkpoint: signed(t, k.witness, k.org), Lines: ledger.Lines(strings.NewReader(file.String()), ledger.NDJSON, k.org),
		Kept: []ledger.Checkpoint{k.checkpoint},
	})
	if err != nil {
		t.Fatal(err)
	}
	return report
}

// TestAuditHasTheBodyOfEachKind records of each kind that is kept elsewhere than the rest.
func TestAuditHasTheBodyOfEachKind(t *testing.T) {
	onBoth(t, func(t *testing.T, h history, org service.OrgID) {
		w := newWaters(t, h, org)
		plan := w.plan(w.vessel("Avocet"), 61, -6, six.Add(-time.Hour), 24)
		w.deploy(plan, six.Add(-4*time.Hour))
		w.receive("a forecast")
		log, ok := h.(service.Log)
		if !ok {
			t.Fatal("a history without a log")
		}
		k := kept{org: org, witness: aWitnessOf(t, log)}
		k.checkpoint = signed(t, k.witness, org)
		report := k.audited(t)
		if !report.Sound() || report.Entries < 4 || report.Bodies != report.Entries {
			t.Errorf("%+v", report)
		}
	})
}
