package main

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// An audit that was fetched is verified without the service, whatever its file is called and whatever was recorded since.
func TestExportAnAuditAndVerifyIt(t *testing.T) {
	t.Parallel()
	h := newLogHouse(t)
	h.record(5)
	kept := h.take("kept.txt", "/v1/log/checkpoint")
	h.record(4)
	environment := map[string]string{"RIDEOUT_SERVER": h.url, "RIDEOUT_KEY": h.key.Reveal()}
	for _, name := range []string{"audit.csv", "january.csv", "audit.ndjson", "january.ndjson"} {
		file, manifest := filepath.Join(h.dir, name), filepath.Join(h.dir, name+".json")
		got := runWith(t, environment, "export", "--what", "audit", "--out", file, "--manifest", manifest, "--since", "5")
		h.want(got, exitOK, "9 changes, recorded before ")
		if got.stdout != "" {
			t.Errorf("%s: printed %q", name, got.stdout)
		}
		h.want(h.verify("--manifest", manifest, "--key", h.public, "--checkpoint", kept), exitOK, "9 entries were read, with 9 bodies and 9 hashes")
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		h.file(name, strings.Replace(string(text), "ro_test", "ro_other", 1))
		h.want(h.verify("--manifest", manifest, "--key", h.public), exitFailed, "entry 1: not as signed")
	}
	printed := runWith(t, environment, "export", "--what", "audit", "--format", "csv")
	if lines := strings.Count(printed.stdout, "\n"); printed.code != exitOK || lines != 10 || !strings.HasPrefix(printed.stdout, "seq,recorded_at,") || printed.stderr != "" {
		t.Errorf("to stdout: code %d, %q, %d lines:\n%s", printed.code, printed.stderr, lines, printed.stdout)
	}
	h.want(runWith(t, environment, "export", "--what", "audit", "--to", "2999-01-01"), exitBadInput, "parameter to: lies ahead")
}

// What is recorded while an audit is fetched is not in it, nor in its manifest.
func TestAnAuditEndsBeforeWhatIsRecordedMeanwhile(t *testing.T) {
	t.Parallel()
	h := newLogHouse(t)
	h.record(3)
	busy := h.between(func(r *http.Request) {
		if r.URL.Path == "/v1/exports/manifest" {
			h.record(2)
		}
	})
	manifest := filepath.Join(h.dir, "manifest.json")
	got := runWith(t, map[string]string{"RIDEOUT_SERVER": busy, "RIDEOUT_KEY": h.key.Reveal()}, "export", "--what", "audit", "--out", filepath.Join(h.dir, "audit.csv"), "--manifest", manifest)
	h.want(got, exitOK, "3 changes, recorded before ")
	h.want(h.verify("--manifest", manifest, "--key", h.public), exitOK, "up to entry 3")
}

// An audit that breaks off, or that is another than its manifest is of, leaves no file.
func TestAnAuditThatFailsLeavesNoFile(t *testing.T) {
	t.Parallel()
	manifest := func(sum string) string {
		return fmt.Sprintf(`{"format":"rideout export 1","org_id":"%s","first_seq":1,"last_seq":1,"checkpoint":"","files":[{"name":"audit.csv","sha256":%q}]}`, vesselID, sum)
	}
	for want, answers := range map[string]map[string]string{
		"not the one its manifest is of": {"GET /v1/exports/audit": "{}\n", "GET /v1/exports/manifest": manifest("00")},
		"names 0 files":                  {"GET /v1/exports/audit": "{}\n", "GET /v1/exports/manifest": "{}"},
		"what happened":                  {"GET /v1/exports/audit": "{}\n", "GET /v1/exports/manifest": "!500"},
		"parameter limit":                {"GET /v1/exports/audit": "!403"},
	} {
		dir := t.TempDir()
		a := serving(t, answers)
		got := runWith(t, a.environment(), "export", "--what", "audit", "--to", "2026-01-13", "--out", filepath.Join(dir, "audit.csv"), "--manifest", filepath.Join(dir, "manifest.json"))
		left, err := os.ReadDir(dir)
		if got.code == exitOK || !strings.Contains(got.stderr, want) || err != nil || len(left) != 0 {
			t.Errorf("code %d, %q, want %q; left %v, %v", got.code, got.stderr, want, left, err)
		}
	}
	cut := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/csv; charset=utf-8; header=present")
		fmt.Fprint(w, "seq,recorded_at\n")
		_ = http.NewResponseController(w).Flush() // so that there is something to cut
		panic(http.ErrAbortHandler)
	}))
	t.Cleanup(cut.Close)
	dir := t.TempDir()
	got := runWith(t, map[string]string{"RIDEOUT_SERVER": cut.URL, "RIDEOUT_KEY": "ro_test"}, "export", "--what", "audit", "--out", filepath.Join(dir, "audit.csv"))
	left, err := os.ReadDir(dir)
	if got.code != exitFailed || !strings.Contains(got.stderr, "broke off after") || err != nil || len(left) != 0 {
		t.Errorf("cut: code %d, %q; left %v, %v", got.code, got.stderr, left, err)
	}
}

// between gives the address of the same service, where something happens before each answer.
func (h *logHouse) between(happens func(*http.Request)) string {
	h.t.Helper()
	through := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		happens(r)
		h.service.ServeHTTP(w, r)
	}))
	h.t.Cleanup(through.Close)
	return through.URL
}
