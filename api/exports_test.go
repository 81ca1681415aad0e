package api_test

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/ledger"
)

// export serves an export past what holds JSON against the contract.
func (w *world) export(target string) *http.Response {
	w.t.Helper()
	recorder := httptest.NewRecorder()
	w.api.ServeHTTP(recorder, w.request(http.MethodGet, target, ""))
	return recorder.Result()
}

func TestExportIsVerifiedWithItsManifest(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.happen(3)
	w.pass(time.Hour)
	w.happen(4)
	w.pass(time.Hour)
	known, err := ledger.NewVerifiers(theSigner().Public())
	if err != nil {
		t.Fatal(err)
	}
	for _, span := range []string{"", "&from=2026-01-12T12:30:00Z", "&from=2026-01-12T12:30:00Z&to=2026-01-12T13:30:00Z", "&to=2026-01-12T12:00:00Z"} {
		for _, format := range []ledger.Format{ledger.NDJSON, ledger.CSV} {
			query := "?format=" + string(format) + span
			first := text(t, w.export("/v1/exports/audit"+query))
			manifest := w.do(http.MethodGet, "/v1/exports/manifest"+query+"&since=2", "")
			var m ledger.Manifest
			if err := json.Unmarshal([]byte(text(t, manifest)), &m); err != nil {
				t.Fatal(err)
			}
			c, err := m.Check(known, map[string]string{"audit." + string(format): sumOf(first)})
			if err != nil {
				t.Fatalf("%s: %v", query, err)
			}
			report, err := ledger.VerifyAudit(ledger.Audit{Manifest: m, Checkpoint: c, Lines: ledger.Lines(strings.NewReader(first), format, uuid.UUID{1})})
			if err != nil || !report.Sound() || report.Entries != m.LastSeq-m.FirstSeq+1 || report.Bodies != report.Entries {
				t.Errorf("%s: %+v, %v\n%s", query, report, err, first)
			}
		}
	}
	before := text(t, w.export("/v1/exports/audit?to=2026-01-12T13:30:00Z"))
	w.happen(2)
	if after := text(t, w.export("/v1/exports/audit?to=2026-01-12T13:30:00Z")); after != before || strings.Count(after, "\n") != 7 {
		t.Errorf("the same span later is\n%s\nwas\n%s", after, before)
	}
	golden(t, "exports/manifest", w.do(http.MethodGet, "/v1/exports/manifest?from=2026-01-12T12:30:00Z&to=2026-01-12T13:30:00Z&since=2", ""))
	golden(t, "exports/bad_parameters", w.do(http.MethodGet, "/v1/exports/manifest?from=x&format=xml&since=0", ""))
	golden(t, "exports/ahead", w.do(http.MethodGet, "/v1/exports/audit?to=2027-01-01T00:00:00Z", ""))
	golden(t, "exports/beyond", w.do(http.MethodGet, "/v1/exports/manifest?since=99", ""))
}

func TestExportSaysWhatItIs(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.happen(1)
	for format, want := range map[string]string{"ndjson": "application/x-ndjson", "csv": "text/csv"} {
		answer := w.export("/v1/exports/audit?format=" + format)
		h := answer.Header
		if answer.StatusCode != http.StatusOK || !strings.HasPrefix(h.Get("Content-Type"), want) || h.Get("Content-Disposition") != `attachment; filename="audit.`+format+`"` {
			t.Errorf("%s: %d %v", format, answer.StatusCode, h)
		}
	}
	if !strings.HasPrefix(text(t, w.export("/v1/exports/audit?format=csv")), "seq,recorded_at,kind,entity_id,version,by,body_sha256,leaf,body\r\n1,") {
		t.Error("CSV does not begin with its names")
	}
}

// TestExportThatFailsIsCut lets the store fail after the first page: the reader must see that the answer has no end.
func TestExportThatFailsIsCut(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.happen(100)
	server := httptest.NewServer(failing{w})
	defer server.Close()
	request, err := http.NewRequestWithContext(t.Context(), http.MethodGet, server.URL+"/v1/exports/audit", nil)
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set("Authorization", "Bearer "+w.key)
	answer, err := server.Client().Do(request)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	if _, err := io.ReadAll(answer.Body); err == nil || answer.StatusCode != http.StatusOK {
		t.Errorf("%d and error %v, want 200 and a body that is cut", answer.StatusCode, err)
	}
}

// A reader can make an export last as long as it likes, but not longer than its key.
func TestExportOfARevokedKeyIsCut(t *testing.T) {
	t.Parallel()
	for _, revoked := range []bool{false, true} {
		w := newWorld(t)
		w.happen(100)
		cut := func() (cut bool) {
			defer func() { cut = recover() == http.ErrAbortHandler }()
			out := &slowly{httptest.NewRecorder(), func() {
				if w.pass(5 * time.Second); revoked {
					w.mu.Lock()
					defer w.mu.Unlock()
					w.holders = nil
				}
			}}
			w.api.ServeHTTP(out, w.request(http.MethodGet, "/v1/exports/audit", ""))
			return false
		}()
		if cut != revoked {
			t.Errorf("revoked %v: cut %v", revoked, cut)
		}
	}
}

// slowly does something at each write.
type slowly struct {
	*httptest.ResponseRecorder
	do func()
}

func (s *slowly) Write(b []byte) (int, error) {
	s.do()
	return s.ResponseRecorder.Write(b)
}

// failing lets the history fail once something was written.
type failing struct{ w *world }

func (f failing) ServeHTTP(out http.ResponseWriter, r *http.Request) {
	f.w.api.ServeHTTP(&tripwire{out, f.w}, r)
}

type tripwire struct {
	http.ResponseWriter
	w *world
}

func (t *tripwire) Write(b []byte) (int, error) {
	t.w.history.Fail(service.ErrUnavailable)
	return t.ResponseWriter.Write(b)
}

func (t *tripwire) Unwrap() http.ResponseWriter { return t.ResponseWriter }

func sumOf(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}
