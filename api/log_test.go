package api_test

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"github.com/google/uuid"

	"rideout/openapi"
	"rideout/service/ledger"
)

func TestGoldenLog(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	golden(t, "log/no_entries", w.do(http.MethodGet, "/v1/log/entries", ""))
	golden(t, "log/empty_checkpoint", w.do(http.MethodGet, "/v1/log/checkpoint", "", "Accept", "application/json"))
	for _, key := range []string{"a", "b", "c", "d", "e"} {
		w.create(key)
	}
	golden(t, "log/checkpoint", w.do(http.MethodGet, "/v1/log/checkpoint", "", "Accept", "application/json"))
	golden(t, "log/entries", w.do(http.MethodGet, "/v1/log/entries?after=1&limit=2", ""))
	golden(t, "log/inclusion", w.do(http.MethodGet, "/v1/log/proofs/inclusion?seq=2&size=5", ""))
	golden(t, "log/consistency", w.do(http.MethodGet, "/v1/log/proofs/consistency?from=2", ""))
	golden(t, "log/beyond", w.do(http.MethodGet, "/v1/log/proofs/consistency?from=2&to=6", ""))
	golden(t, "log/bad_parameters", w.do(http.MethodGet, "/v1/log/proofs/inclusion?seq=0&size=x&from=1", ""))
	w.history.Alter(uuid.UUID{1}, func(_ *[]ledger.Entry, hashes *[]ledger.Hash) { (*hashes)[6][0] ^= 1 }) // of the first four
	golden(t, "log/altered", w.do(http.MethodGet, "/v1/log/checkpoint", ""))
}

// TestLogIsVerifiedFromWhatItAnswers takes home what the routes answer, and verifies it as another would.
func TestLogIsVerifiedFromWhatItAnswers(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.happen(5)
	known, err := ledger.NewVerifiers(strings.TrimSpace(text(t, w.do(http.MethodGet, "/v1/log/key", ""))))
	if err != nil {
		t.Fatal(err)
	}
	kept, err := known.Open([]byte(text(t, w.do(http.MethodGet, "/v1/log/checkpoint", ""))))
	if err != nil || kept.Size != 5 {
		t.Fatalf("checkpoint %+v, %v", kept, err)
	}
	w.happen(4)
	now, err := known.Open([]byte(text(t, w.do(http.MethodGet, "/v1/log/checkpoint", "", "Accept", "text/plain"))))
	if err != nil || now.Size != 9 {
		t.Fatalf("checkpoint %+v, %v", now, err)
	}
	report, err := ledger.Verify(ledger.Log{
		OrgID: kept.OrgID, Checkpoints: []ledger.Checkpoint{kept, now},
		Records: ledger.Entries(strings.NewReader(w.pages("/v1/log/entries?limit=2", "Accept", "text/plain"))),
		Hashes:  ledger.Hashes(strings.NewReader(w.pages("/v1/log/hashes?limit=3"))),
	})
	if err != nil || !report.Sound() || report.Proven != 9 || report.Hashes != ledger.HashCount(9) {
		t.Errorf("%+v, %v", report, err)
	}
	var p openapi.ConsistencyProof
	if err := json.Unmarshal([]byte(text(t, w.do(http.MethodGet, "/v1/log/proofs/consistency?from=5&to=9", ""))), &p); err != nil {
		t.Fatal(err)
	}
	proof := make(ledger.Proof, len(p.Proof))
	for i, text := range p.Proof {
		if err := proof[i].UnmarshalJSON([]byte(`"` + text + `"`)); err != nil {
			t.Fatal(err)
		}
	}
	if err := ledger.CheckConsistency(kept, now, proof); err != nil {
		t.Error(err)
	}
}

// pages puts the pages of a list of text one after another.
func (w *world) pages(target string, headers ...string) string {
	w.t.Helper()
	var all strings.Builder
	for target != "" {
		answer := w.do(http.MethodGet, target, "", headers...)
		if answer.StatusCode != http.StatusOK {
			w.t.Fatalf("%s: %d", target, answer.StatusCode)
		}
		all.WriteString(text(w.t, answer))
		target, _, _ = strings.Cut(strings.TrimPrefix(answer.Header.Get("Link"), "<"), ">")
	}
	return all.String()
}

func TestLogsAreTheOrganisationsOwn(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.happen(3)
	for _, target := range []string{"/v1/log/entries", "/v1/log/hashes"} {
		answer := w.do(http.MethodGet, target, "", "Authorization", "Bearer "+w.other, "Accept", "text/plain")
		if got := text(t, answer); answer.StatusCode != http.StatusOK || got != "" {
			t.Errorf("%s: another organisation sees %q", target, got)
		}
	}
	if got := text(t, w.do(http.MethodGet, "/v1/log/checkpoint", "", "Authorization", "Bearer "+w.other)); !strings.Contains(got, uuid.UUID{2}.String()+"\n0\n") {
		t.Errorf("another organisation's checkpoint is %q", got)
	}
}
