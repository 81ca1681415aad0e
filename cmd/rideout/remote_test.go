package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// answering is a service that knows some addresses, and keeps what it was asked.
type answering struct {
	*httptest.Server
	asked []*http.Request
	sent  []string
}

// serving answers each address, method before it, with what stands beside it: a body, or a problem by its status.
func serving(t *testing.T, answers map[string]string) *answering {
	t.Helper()
	a := &answering{}
	a.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		a.asked, a.sent = append(a.asked, r), append(a.sent, string(body))
		text, known := answers[r.Method+" "+r.URL.Path]
		status := http.StatusNotFound
		if known && !strings.HasPrefix(text, "!") {
			kind := "application/json"
			if strings.HasPrefix(text, "retry:") {
				kind = "text/event-stream"
			}
			w.Header().Set("Content-Type", kind)
			io.WriteString(w, text)
			return
		}
		if known {
			fmt.Sscanf(text, "!%d", &status)
		}
		w.Header().Set("Content-Type", "application/problem+json")
		w.WriteHeader(status)
		fmt.Fprintf(w, `{"type":"/docs#problem-x","title":"T","status":%d,"detail":"what happened","code":"x","request_id":"r","errors":[{"parameter":"limit","message":"is wrong","fix":"leave it out"}]}`, status)
	}))
	t.Cleanup(a.Close)
	return a
}

func (a *answering) environment() map[string]string {
	return map[string]string{"RIDEOUT_SERVER": a.URL, "RIDEOUT_KEY": "ro_test"}
}

func goldenBody(t *testing.T, name string) string {
	t.Helper()
	body, err := os.ReadFile("../../testdata/golden/" + name + ".json")
	if err != nil {
		t.Fatal(err)
	}
	return string(body)
}

const vesselID = "01945d2c-7c00-7000-8000-000000000002"

func vesselPage(names ...string) string {
	var items []string
	for i, name := range names {
		items = append(items, fmt.Sprintf(`{"id":"01945d2c-7c00-7000-8000-%012d","name":%q,"hull":"sail_monohull","loa_m":8.2,"beam_m":3,"draught_m":1.5,"displacement_kg":3100,"status":"laid_up"}`, i+2, name))
	}
	return `{"items":[` + strings.Join(items, ",") + `],"next":null,"prev":null}`
}

const tern = `{"id":"` + vesselID + `","vessel_name":"Vestvik Tern","valid_at":"2026-01-12T12:00:00Z","known_at":"2026-01-12T12:00:00Z","rules":"readiness-1","verdict":"not_ready","findings":[
	{"code":"inspection_overdue","severity":"not_ready","text":"The rode was last inspected 14 months ago.","fix":"Inspect it and record what was found.","since":"2026-01-10T08:00:00Z","evidence":[]}],
	"window":{"from":"2026-06-01T00:00:00Z","to":"2026-06-08T00:00:00Z","verdict":"not_ready","findings":[]},"links":{}}`

func TestListsAsTablesAndAsJSON(t *testing.T) {
	t.Parallel()
	a := serving(t, map[string]string{"GET /v1/vessels": vesselPage("Vestvik Tern", "Skua of Hamna"), "GET /v1/readiness": `{"items":[` + strings.ReplaceAll(tern, "\n", "") + `],"next":null,"prev":null}`})
	for name, c := range map[string]struct {
		args  []string
		lines int
		wants []string
	}{
		"vessels, table":    {[]string{"vessels", "--text"}, 3, []string{"NAME", "Vestvik Tern   -          sail monohull  8.2 m   3.1 t         laid up  " + vesselID}},
		"vessels, JSON":     {[]string{"vessels"}, 2, []string{`"name":"Skua of Hamna"`}},
		"readiness, table":  {[]string{"readiness", "--text"}, 2, []string{"not ready  Vestvik Tern  1         The rode was last inspected 14 months ago."}},
		"readiness, JSON":   {[]string{"readiness", "--json"}, 1, []string{`"code":"inspection_overdue"`}},
		"export, to stdout": {[]string{"export", "--what", "vessels"}, 2, []string{`"hull":"sail_monohull"`}},
	} {
		got := runWith(t, a.environment(), c.args...)
		if got.code != exitOK || strings.Count(got.stdout, "\n") != c.lines || got.stderr != "" {
			t.Errorf("%s: code %d, stderr %q, want %d lines:\n%s", name, got.code, got.stderr, c.lines, got.stdout)
		}
		for _, want := range c.wants {
			if !strings.Contains(got.stdout, want) {
				t.Errorf("%s lacks %q:\n%s", name, want, got.stdout)
			}
		}
	}
	for _, r := range a.asked {
		if r.Header.Get("Authorization") != "Bearer ro_test" {
			t.Errorf("%s was asked with %q", r.URL, r.Header.Get("Authorization"))
		}
	}
}

func TestOneVesselByHerName(t *testing.T) {
	t.Parallel()
	a := serving(t, map[string]string{"GET /v1/vessels": vesselPage("Vestvik Tern", "Twin", "Twin"), "GET /v1/vessels/" + vesselID + "/readiness": tern})
	got := runWith(t, a.environment(), "readiness", "--text", "--vessel", "vestvik tern", "--from", "2026-06-01", "--to", "2026-06-08T00:00:00Z", "--wind", "18")
	for _, want := range []string{"Vestvik Tern: NOT READY", "since 2026-01-10 08:00", "Put right by: Inspect it", "Nothing more falls due.", "decided by her skipper"} {
		if got.code != exitOK || !strings.Contains(got.stdout, want) {
			t.Errorf("code %d %s, want %q in:\n%s", got.code, got.stderr, want, got.stdout)
		}
	}
	if q := a.asked[1].URL.Query(); q.Get("from") != "2026-06-01T00:00:00Z" || q.Get("to") != "2026-06-08T00:00:00Z" || q.Get("wind_speed_kt") != "18" || q.Has("valid_at") {
		t.Errorf("asked by %s", a.asked[1].URL.RawQuery)
	}
	for name, want := range map[string]string{"Twin": "2 vessels are called", "Nobody": "no vessel is called"} {
		if got := runWith(t, a.environment(), "readiness", "--vessel", name); got.code != exitBadInput || !strings.Contains(got.stderr, want) {
			t.Errorf("%s: code %d, %q", name, got.code, got.stderr)
		}
	}
}

// What the service refuses ends with code 2, what fails with 1; both say why.
func TestAnswersAsExitCodes(t *testing.T) {
	t.Parallel()
	for status, want := range map[int]int{400: exitBadInput, 401: exitBadInput, 404: exitBadInput, 410: exitBadInput, 409: exitFailed, 500: exitFailed} {
		a := serving(t, map[string]string{"GET /v1/vessels": fmt.Sprintf("!%d", status)})
		got := runWith(t, a.environment(), "vessels")
		if got.code != want || !strings.Contains(got.stderr, "what happened") || !strings.Contains(got.stderr, "parameter limit: is wrong; leave it out") {
			t.Errorf("%d: code %d, want %d; %q", status, got.code, want, got.stderr)
		}
	}
}

// A service that is not there is told by its address.
func TestAServiceThatIsNotThere(t *testing.T) {
	t.Parallel()
	gone := serving(t, nil)
	gone.Close()
	_, err := http.Get(gone.URL + "/v1/vessels?limit=200")
	if got := inWords(err); !strings.HasPrefix(got, gone.URL+" does not answer: ") || !strings.HasSuffix(got, "--server or RIDEOUT_SERVER") {
		t.Errorf("%v is told as %q", err, got)
	}
	if got := inWords(errors.New("another")); got != "another" {
		t.Errorf("got %q", got)
	}
}

// What a demo prints to try is what there is.
func TestTheDemoNamesItsLogKey(t *testing.T) {
	t.Parallel()
	h := newLogHouse(t)
	h.record(2)
	var stdout bytes.Buffer
	ready := demoReady{URL: h.url, Key: h.key.Reveal(), Vessels: []demoVessel{{Name: "Kestrel of Hamna", PlanIDs: []string{vesselID}}}, logKey: filepath.Join(h.dir, "log.key")}
	if err := ready.tell(program{stdout: &stdout}, false); err != nil {
		t.Fatal(err)
	}
	_, line, found := strings.Cut(stdout.String(), "bin/rideout log-key ")
	line, _, _ = strings.Cut(line, " > log.pub")
	got := runWith(t, nil, append([]string{"log-key"}, strings.Fields(strings.ReplaceAll(line, "'", ""))...)...)
	public, err := os.ReadFile(h.public)
	if !found || err != nil || got.code != exitOK || got.stdout != string(public) {
		t.Errorf("log-key %s: %+v, want %q, %v", line, got, public, err)
	}
}

func TestCallsTypedWronglyAreNamed(t *testing.T) {
	t.Parallel()
	a := serving(t, nil)
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"vessels", "--json", "--text"}, "choose one"},
		{[]string{"vessels", "--server", "ship:80"}, "http://host:port"},
		{[]string{"vessels", "--valid-at", "yesterday"}, "such as 2026-01-12"},
		{[]string{"vessels", "--key-file", "/nowhere/key"}, "read the key"},
		{[]string{"readiness", "--from", "2026-06-01"}, "--vessel"},
		{[]string{"readiness", "--vessel", vesselID, "--wind", "3"}, "--from and --to"},
		{[]string{"sheet"}, "--plan"},
		{[]string{"sheet", "--plan", "7"}, "no plan's id"},
		{[]string{"sheet", "--plan", vesselID, "--as", "doc"}, "text, html or pdf"},
		{[]string{"storm-plan"}, "--vessel"},
		{[]string{"export"}, "plans, vessels, incidents, readiness"},
		{[]string{"export", "--what", "vessels", "--whole"}, "--whole is for plans"},
		{[]string{"export", "--what", "plans", "--valid-at", "2026-01-12"}, "never changed"},
		{[]string{"export", "--what", "plans", "--from", "2026-01-12"}, "are for --what audit"},
		{[]string{"export", "--what", "audit", "--known-at", "2026-01-12"}, "--from and --to"},
		{[]string{"export", "--what", "audit", "--format", "xml"}, "ndjson or csv"},
		{[]string{"export", "--what", "audit", "--since", "7"}, "--manifest"},
		{[]string{"export", "--what", "audit", "--manifest", "m.json"}, "--out"},
		{[]string{"export", "--what", "audit", "--manifest", "m.json", "--out", "audit.txt"}, "--out audit.ndjson"},
		{[]string{"export", "--what", "audit", "--manifest", "m.json", "--out", "a.csv", "--format", "ndjson"}, "--out audit.ndjson"},
		{[]string{"export", "--what", "audit", "--manifest", "m.json", "--out", "x/a.csv"}, "in one directory"},
		{[]string{"plan", "--vessel-id", vesselID}, "--server"},
		{[]string{"completion", "ash"}, "bash, zsh or fish"},
		{[]string{"help", "sail"}, `no command "sail"`},
	} {
		if got := runWith(t, a.environment(), c.args...); got.code != exitBadInput || !strings.Contains(got.stderr, c.want) || got.stdout != "" {
			t.Errorf("%q: code %d, %q, %q; want %q", c.args, got.code, got.stderr, got.stdout, c.want)
		}
	}
	if got := runWith(t, nil, "vessels"); got.code != exitBadInput || !strings.Contains(got.stderr, "RIDEOUT_KEY") {
		t.Errorf("without a key: code %d, %q", got.code, got.stderr)
	}
	if len(a.asked) > 0 {
		t.Errorf("the service was asked %s", a.asked[0].URL)
	}
}

func TestSheetOfAVessel(t *testing.T) {
	t.Parallel()
	plan := "01945d2c-7c00-7000-8000-000000000001"
	a := serving(t, map[string]string{"GET /v1/plans": `{"items":[{"id":"` + plan + `","created_at":"2026-01-12T12:00:00Z"}],"next":"more","prev":null}`, "GET /v1/plans/" + plan + "/sheet": "%PDF-"})
	file := filepath.Join(t.TempDir(), "sheet.pdf")
	got := runWith(t, a.environment(), "sheet", "--vessel", vesselID, "--as", "pdf", "--paper", "letter", "--out", file)
	body, err := os.ReadFile(file)
	if got.code != exitOK || err != nil || string(body) != "%PDF-" || got.stdout != "" {
		t.Fatalf("code %d %s, %q, %v", got.code, got.stderr, body, err)
	}
	if q := a.asked[0].URL.Query(); q.Get("vessel_id") != vesselID || q.Get("limit") != "1" {
		t.Errorf("the plan was looked for by %s", a.asked[0].URL.RawQuery)
	}
	if r := a.asked[1]; r.Header.Get("Accept") != "application/pdf" || r.URL.Query().Get("paper") != "letter" {
		t.Errorf("the sheet was asked for by %s, Accept %s", r.URL.RawQuery, r.Header.Get("Accept"))
	}
}

// A file appears when it is whole.
func TestAnExportThatFailsLeavesNoFile(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	a := serving(t, map[string]string{"GET /v1/plans": `{"items":[{"id":"` + vesselID + `"}],"next":null,"prev":null}`})
	got := runWith(t, a.environment(), "export", "--what", "plans", "--whole", "--out", filepath.Join(dir, "plans.ndjson"))
	left, err := os.ReadDir(dir)
	if got.code != exitBadInput || err != nil || len(left) != 0 {
		t.Errorf("code %d, %q; left %v, %v", got.code, got.stderr, left, err)
	}
}

func TestPlanByAService(t *testing.T) {
	t.Parallel()
	answer := goldenBody(t, "plans/created")
	a := serving(t, map[string]string{"POST /v1/plans": answer})
	args := []string{"plan", "--server", a.URL, "--vessel-id", vesselID, "--forecast", "../../testdata/demo/forecasts/gale.json", "--position", "61.2,-6.4", "--heading", "30"}
	got := runWith(t, a.environment(), append(args, "--json")...)
	if got.code != exitOK || strings.TrimSpace(got.stdout) != strings.TrimSpace(answer) || !strings.Contains(got.stderr, "kept as plan ") {
		t.Fatalf("code %d, %q\n%.300s", got.code, got.stderr, got.stdout)
	}
	var sent map[string]any
	if err := json.Unmarshal([]byte(a.sent[0]), &sent); err != nil {
		t.Fatal(err)
	}
	if sent["vessel_id"] != vesselID || sent["vessel"] != nil || sent["forecast"] == nil || a.asked[0].Header.Get("Idempotency-Key") == "" {
		t.Errorf("sent %v with the key %q", sent, a.asked[0].Header.Get("Idempotency-Key"))
	}
	got = runWith(t, a.environment(), append(args, "--idempotency-key", "mine")...)
	if got.code != exitOK || !strings.HasPrefix(got.stdout, "PLAN for ") || a.asked[1].Header.Get("Idempotency-Key") != "mine" {
		t.Errorf("code %d, %q\n%.300s", got.code, got.stderr, got.stdout)
	}
}

func TestEventsAreFollowedUntilInterrupted(t *testing.T) {
	t.Parallel()
	event := `{"specversion":"1.0","id":"o-7","source":"urn:uuid:x","type":"rideout.vessel.changed","subject":"vessel/x","time":"2026-01-12T12:00:00Z","datacontenttype":"application/json","sequence":7,"data":{"sequence":7,"kind":"vessel","entity_id":"` + vesselID + `","version":2,"links":{}}}`
	a := serving(t, map[string]string{
		"GET /v1/events/stream": "retry: 1\nid: 6\n\nid: 7\ndata: " + event + "\n\nevent: resync\nid: 9\ndata: {\"resync_after\":9}\n\n",
		"GET /v1/events":        `{"items":[` + event + `],"next":null,"prev":null,"latest":7}`,
	})
	ctx, stop := context.WithCancel(t.Context())
	out := &stopping{after: 3, stop: stop}
	var stderr bytes.Buffer
	code := run(ctx, program{func(name string) string { return a.environment()[name] }, out, &stderr}, []string{"events", "--follow", "--text"})
	if want := "7  2026-01-12 12:00:00 UTC  vessel.changed  vessel/x  2\n"; code != exitOK || out.text != strings.Repeat(want, 3) || !strings.Contains(stderr.String(), "read the lists anew") {
		t.Errorf("code %d, %q\n%s", code, stderr.String(), out.text)
	}
	if last := a.asked[1].Header.Get("Last-Event-ID"); last != "9" {
		t.Errorf("taken up after %q, want 9", last)
	}
	if got := runWith(t, a.environment(), "events", "--after", "6"); got.code != exitOK || strings.TrimSpace(got.stdout) != event {
		t.Errorf("the list: code %d, %s", got.code, got.stdout)
	}
}

// stopping ends what writes to it after some lines.
type stopping struct {
	text  string
	after int
	stop  func()
}

func (s *stopping) Write(b []byte) (int, error) {
	s.text += string(b)
	if strings.Count(s.text, "\n") >= s.after {
		s.stop()
	}
	return len(b), nil
}

func TestEveryCommandIsExplained(t *testing.T) {
	t.Parallel()
	page := runWith(t, nil, "help", "--man").stdout
	for _, c := range commands() {
		m, there := manuals()[c.name]
		if !there || m.about == "" || len(m.examples) == 0 {
			t.Errorf("help has nothing, or no example, on %s", c.name)
			continue
		}
		got := runWith(t, nil, "help", c.name)
		if got.code != exitOK || !strings.Contains(got.stdout, m.examples[0].line) {
			t.Errorf("help %s: code %d\n%s", c.name, got.code, got.stdout)
		}
		if !strings.Contains(page, ".SS rideout "+roff(c.name)) {
			t.Errorf("the manual page lacks %s", c.name)
		}
		var known []string
		for _, f := range flagsOf(c) {
			known = append(known, "--"+f.Name)
			if !strings.Contains(got.stdout, "  --"+f.Name) || !strings.Contains(page, roff("--"+f.Name)) {
				t.Errorf("help does not explain %s --%s", c.name, f.Name)
			}
		}
		for _, e := range m.examples {
			_, call, ours := strings.Cut(e.line, "rideout "+c.name)
			if !ours {
				t.Errorf("an example of %s is %q", c.name, e.line)
			}
			call, _, _ = strings.Cut(call, " | ")
			for _, word := range strings.Fields(call) {
				if strings.HasPrefix(word, "--") && word != "--man" && !slices.Contains(known, strings.Trim(word, ")")) {
					t.Errorf("an example of %s has the unknown flag %s", c.name, word)
				}
			}
		}
	}
	if len(manuals()) != len(commands()) {
		t.Errorf("help explains %d commands, there are %d", len(manuals()), len(commands()))
	}
}

// bash is asked for real; zsh and fish read their scripts where they are installed.
func TestCompletion(t *testing.T) {
	t.Parallel()
	script := func(shell string) string {
		got := runWith(t, nil, "completion", shell)
		if got.code != exitOK {
			t.Fatalf("%s: code %d, %s", shell, got.code, got.stderr)
		}
		file := filepath.Join(t.TempDir(), "completion."+shell)
		if err := os.WriteFile(file, []byte(got.stdout), 0o600); err != nil {
			t.Fatal(err)
		}
		return file
	}
	bash := script("bash")
	for typed, want := range map[string]string{
		"rideout re":                        "readiness",
		"rideout readiness --ver":           "--verdict",
		"rideout readiness --verdict not":   "not_ready",
		"rideout help stor":                 "storm-plan",
		"rideout completion f":              "fish",
		"rideout plan --vessel main_test.g": "main_test.go",
		"rideout export --what in":          "incidents",
	} {
		words := append([]string{"-c", `source "$0"; COMP_WORDS=("$@"); COMP_CWORD=$(($#-1)); _rideout; echo "${COMPREPLY[@]}"`, bash}, strings.Fields(typed)...)
		out, err := exec.Command("bash", words...).CombinedOutput()
		if err != nil || strings.TrimSpace(string(out)) != want {
			t.Errorf("%q: got %q, %v; want %q", typed, out, err, want)
		}
	}
	for _, shell := range []string{"zsh", "fish"} {
		file := script(shell)
		if _, err := exec.LookPath(shell); err != nil {
			t.Logf("%s is not installed: its script was not read by it", shell)
		} else if out, err := exec.Command(shell, "-n", file).CombinedOutput(); err != nil {
			t.Errorf("%s: %v: %s", shell, err, out)
		}
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range commands() {
			for _, f := range flagsOf(c) {
				if !strings.Contains(string(text), f.Name) {
					t.Errorf("%s lacks --%s of %s", shell, f.Name, c.name)
				}
			}
		}
	}
}
