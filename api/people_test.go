package api_test

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"rideout/openapi"
	"rideout/service/ledger"

	"github.com/google/uuid"
)

const (
	ada        = "01945d2c-7c00-7000-8000-0000000000f1"
	hurtBody   = `{"occurred_at": "2026-01-11T23:00:00Z", "kind": "injury", "severity": "minor", "injured": 1, "what_happened": "A finger was crushed at the bow roller.", "persons": [{"person_id": "` + ada + `", "role": "injured", "text": "Ada Holm, \"forefinger\" <crushed>"}, {"role": "witness", "text": "Bo Lind"}]}`
	drilled    = `{"held_at": "2026-01-11T20:00:00Z", "kind": "full", "crew_count": 2, "persons": [{"person_id": "` + ada + `", "role": "crew", "text": "Ada Holm"}]}`
	mergePatch = "application/merge-patch+json"
)

// peopleOf gives the persons of an incident note or a drill.
func peopleOf(t *testing.T, answer *http.Response) []openapi.Person {
	t.Helper()
	var said struct {
		Persons []openapi.Person `json:"persons"`
	}
	if err := json.Unmarshal([]byte(text(t, answer)), &said); err != nil {
		t.Fatal(err)
	}
	return said.Persons
}

func TestPersonsAreErasedAndTheLogVerifies(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	vessel := w.add("/v1/vessels", ternBody)
	made := w.do(http.MethodPost, "/v1/incidents", hurtBody, "Idempotency-Key", "hurt")
	golden(t, "people/incident", made)
	incident := made.Header.Get("Location")
	drill := w.add(vessel+"/drills", drilled)
	first := w.do(http.MethodGet, incident, "")
	if p := peopleOf(t, first); len(p) != 2 || p[0].Text == nil || *p[0].Text != `Ada Holm, "forefinger" <crushed>` || p[1].PersonId == nil {
		t.Fatalf("persons %s", text(t, first))
	}
	// An ETag is of what was answered, and a patch that does not name them leaves them as they are.
	patched := w.do(http.MethodPatch, incident, `{"what_was_learned": "Gloves."}`, "Content-Type", mergePatch, "If-Match", first.Header.Get("ETag"))
	if patched.StatusCode != http.StatusOK || *peopleOf(t, patched)[0].Commitment != *peopleOf(t, first)[0].Commitment || *peopleOf(t, patched)[0].Text != *peopleOf(t, first)[0].Text {
		t.Fatalf("patched: %d %s", patched.StatusCode, text(t, patched))
	}
	if got := w.do(http.MethodPatch, incident, `{"injured": 2}`, "Content-Type", mergePatch, "If-Match", first.Header.Get("ETag")); got.StatusCode != http.StatusPreconditionFailed {
		t.Errorf("a change that starts from the version before: %d", got.StatusCode)
	}

	erased := w.do(http.MethodDelete, "/v1/people/"+ada, "")
	golden(t, "people/erased", erased)
	golden(t, "people/erased_again", w.do(http.MethodDelete, "/v1/people/"+ada, ""))
	golden(t, "people/incident_after", w.do(http.MethodGet, incident, ""))
	for _, target := range []string{incident, incident + "?known_at=2026-01-12T12:00:00.000002Z", drill, "/v1/incidents", vessel + "/drills"} {
		got := text(t, w.do(http.MethodGet, target, ""))
		if strings.Contains(got, "Ada") || !strings.Contains(got, `"erased_at"`) || !strings.Contains(got, *peopleOf(t, first)[0].Commitment) && target == incident {
			t.Errorf("%s still tells, or does not say that it was erased: %s", target, got)
		}
	}
	if got := text(t, w.do(http.MethodGet, incident, "")); !strings.Contains(got, "Bo Lind") {
		t.Errorf("what is written about another is gone: %s", got)
	}
	if again := w.do(http.MethodPost, "/v1/incidents", hurtBody, "Idempotency-Key", "hurt"); strings.Contains(text(t, again), "Ada") {
		t.Errorf("a repeat of the request answers %s", text(t, again))
	}
	// A program that read it before does not bring it back.
	back, err := json.Marshal(map[string]any{"persons": peopleOf(t, first)})
	if err != nil {
		t.Fatal(err)
	}
	got := w.do(http.MethodPatch, incident, string(back), "Content-Type", mergePatch, "If-Match", "*")
	if p := problem(t, got); got.StatusCode != http.StatusUnprocessableEntity || *p.Errors[0].Pointer != "/persons/0/text" {
		t.Errorf("sent back: %d %s", got.StatusCode, text(t, got))
	}

	report := w.audited()
	if !report.Sound() || report.Bodies != 5 { // vessel, note, drill, change, erasure
		t.Errorf("%+v", report)
	}
	if file := text(t, w.export("/v1/exports/audit")); strings.Contains(file, "Bo Lind") || !strings.Contains(file, `"kind":"erasure"`) {
		t.Errorf("the export holds what is written about people, or not that it was erased:\n%s", file)
	}
}

// audited exports and verifies all there is.
func (w *world) audited() ledger.Report {
	w.t.Helper()
	var m ledger.Manifest
	if err := json.Unmarshal([]byte(text(w.t, w.do(http.MethodGet, "/v1/exports/manifest", ""))), &m); err != nil {
		w.t.Fatal(err)
	}
	file := text(w.t, w.export("/v1/exports/audit"))
	known, err := ledger.NewVerifiers(theSigner().Public())
	if err != nil {
		w.t.Fatal(err)
	}
	c, err := m.Check(known, map[string]string{"audit.ndjson": sumOf(file)})
	if err != nil {
		w.t.Fatal(err)
	}
	report, err := ledger.VerifyAudit(ledger.Audit{Manifest: m, Checkpoint: c, Lines: ledger.Lines(strings.NewReader(file), ledger.NDJSON, uuid.UUID{1})})
	if err != nil {
		w.t.Fatal(err)
	}
	return report
}

func TestWhatIsWrittenAboutPeopleIsChecked(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	incident := w.add("/v1/incidents", hurtBody)
	known := *peopleOf(t, w.do(http.MethodGet, incident, ""))[0].Commitment
	for person, want := range map[string]string{
		`{"role": "crew"}`:                                                     "400 /persons/0/text",
		`{"role": "crew", "text": ""}`:                                         "400 /persons/0/text",
		`{"role": "crew", "text": "a\u0000"}`:                                  "400 /persons/0/text",
		`{"role": "cook", "text": "Ada"}`:                                      "400 /persons/0/role",
		`{"text": "Ada"}`:                                                      "400 /persons/0/role",
		`{"role": "crew", "text": "Ada", "born": 1}`:                           "400 /persons/0/born",
		`{"role": "crew", "commitment": "x"}`:                                  "400 /persons/0/commitment",
		`{"role": "crew", "text": "Ada", "erased_at": "2026-01-11T20:00:00Z"}`: "400 /persons/0/erased_at",
		`{"role": "crew", "commitment": "` + strings.Repeat("0", 64) + `"}`:    "422 /persons/0/commitment",
		`{"person_id": "00000000-0000-7000-8000-000000000001", "role": "crew", "commitment": "` + known + `"}`: "422 /persons/0/person_id",
	} {
		got := w.do(http.MethodPatch, incident, `{"persons": [`+person+`]}`, "Content-Type", mergePatch, "If-Match", "*")
		p := problem(t, got)
		if len(p.Errors) != 1 || p.Errors[0].Pointer == nil || want != strings.Join([]string{got.Status[:3], *p.Errors[0].Pointer}, " ") {
			t.Errorf("%s: %s %s, want %s", person, got.Status, text(t, got), want)
		}
	}
	kept := w.do(http.MethodPatch, incident, `{"persons": [{"role": "crew", "commitment": "`+known+`"}, {"role": "other", "text": "Cy"}]}`, "Content-Type", mergePatch, "If-Match", "*")
	if p := peopleOf(t, kept); len(p) != 2 || *p[0].Commitment != known || p[0].PersonId.String() != ada || !strings.HasPrefix(*p[0].Text, "Ada") || *p[1].Text != "Cy" {
		t.Errorf("kept: %s", text(t, kept))
	}
	for _, target := range []string{"/v1/people/00000000-0000-7000-8000-000000000001", "/v1/people/x"} {
		if got := w.do(http.MethodDelete, target, ""); got.StatusCode != http.StatusNotFound {
			t.Errorf("%s: %d, want 404", target, got.StatusCode)
		}
	}
	if got := w.do(http.MethodDelete, "/v1/people/"+ada, "", "Authorization", "Bearer "+w.other); got.StatusCode != http.StatusNotFound {
		t.Errorf("by another organisation: %d, want 404", got.StatusCode)
	}
}
