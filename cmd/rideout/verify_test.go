package main

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/api"
	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/ledger"
	"rideout/service/servicetest"
)

// logHouse is a service over a history in memory that a test may alter, as the owner of a database can.
type logHouse struct {
	t       *testing.T
	history *servicetest.History
	service http.Handler
	url     string
	key     service.Key
	public  string // a file
	dir     string
	org     service.OrgID
}

func newLogHouse(t *testing.T) *logHouse {
	t.Helper()
	h := &logHouse{t: t, history: &servicetest.History{}, key: service.NewKey(), dir: t.TempDir(), org: uuid.New()}
	made := runWith(t, nil, "log-key", "--new", "--name", "rideout.example", "--file", filepath.Join(h.dir, "log.key"))
	if made.code != exitOK {
		t.Fatalf("log-key: %+v", made)
	}
	h.public = h.file("log.pub", made.stdout)
	signer, err := readLogKey(filepath.Join(h.dir, "log.key"))
	if err != nil {
		t.Fatal(err)
	}
	a, err := api.New(api.Config{
		Plans: &service.Plans{History: h.history}, Registers: h.registers(), Forecasts: &service.AreaForecasts{}, Events: &service.Events{Log: h.history, Clock: time.Now}, Keyring: h, Sessions: h.history, Keys: &service.Keys{}, Emergency: &service.Emergency{},
		Witness: &service.Witness{Log: h.history, Clock: time.Now, Signer: signer}, Ping: func(context.Context) error { return nil },
		Log: newLog(os.Stderr, config{LogLevel: 12}), Webhooks: &service.Webhooks{},
	})
	if err != nil {
		t.Fatal(err)
	}
	h.service = a
	server := httptest.NewServer(a)
	t.Cleanup(server.Close)
	h.url = server.URL
	return h
}

func (h *logHouse) registers() *service.Registers {
	return &service.Registers{History: h.history, Clock: time.Now, NewID: uuid.New}
}

func (h *logHouse) KeyByHash(_ context.Context, hash []byte) (service.OrgID, service.KeyRecord, error) {
	if string(hash) != string(h.key.Hash()) {
		return service.OrgID{}, service.KeyRecord{}, service.ErrNotFound
	}
	return h.org, service.KeyRecord{ID: uuid.UUID{1}, Scopes: service.EverydayScopes(), LastUsedAt: time.Now()}, nil
}

func (h *logHouse) KeyUsed(context.Context, service.OrgID, uuid.UUID, string, time.Time) error {
	return nil
}

// record records n policies.
func (h *logHouse) record(n int) {
	h.t.Helper()
	for range n {
		policy := fleet.DefaultPolicy()
		if _, _, err := h.registers().Put(h.t.Context(), h.org, service.Draft{Kind: fleet.KindPolicy, Entity: &policy, By: "ro_test"}, h.org, service.Match{Any: true}); err != nil {
			h.t.Fatal(err)
		}
	}
}

func (h *logHouse) file(name, text string) string {
	h.t.Helper()
	path := filepath.Join(h.dir, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		h.t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		h.t.Fatal(err)
	}
	return path
}

// take keeps an answer in a file, as text where there is text.
func (h *logHouse) take(name, target string) string {
	h.t.Helper()
	request, err := http.NewRequestWithContext(h.t.Context(), http.MethodGet, h.url+target, nil)
	if err != nil {
		h.t.Fatal(err)
	}
	request.Header.Set("Authorization", "Bearer "+h.key.Reveal())
	request.Header.Set("Accept", "text/plain, */*;q=0.1")
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		h.t.Fatal(err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil || answer.StatusCode != http.StatusOK {
		h.t.Fatalf("%s: %s, %v: %s", target, answer.Status, err, text)
	}
	return h.file(name, string(text))
}

func (h *logHouse) verify(args ...string) outcome {
	h.t.Helper()
	return runWith(h.t, map[string]string{"RIDEOUT_KEY": h.key.Reveal()}, append([]string{"verify"}, args...)...)
}

func (h *logHouse) want(got outcome, code int, words string) {
	h.t.Helper()
	if got.code != code || !strings.Contains(got.stdout+got.stderr, words) {
		h.t.Errorf("got code %d, %q and %q, want code %d and %q", got.code, got.stdout, got.stderr, code, words)
	}
}

func (h *logHouse) forge(seq int64) {
	h.history.Alter(h.org, func(entries *[]ledger.Entry, _ *[]ledger.Hash) { (*entries)[seq-1].By = "ro_other" })
}

func TestVerifyAServer(t *testing.T) {
	t.Parallel()
	h := newLogHouse(t)
	h.record(5)
	kept := h.take("kept.txt", "/v1/log/checkpoint")
	h.record(4)
	saved := filepath.Join(h.dir, "saved")
	h.want(h.verify("--server", h.url, "--key", h.public, "--checkpoint", kept, "--save", saved), exitOK, "All is as it was signed, up to entry 9.")
	h.want(h.verify("--server", h.url+"/"), exitOK, "the server's own is believed")
	// What was saved is verified without the server.
	at := func(name string) string { return filepath.Join(saved, name) }
	h.want(h.verify("--entries", at("entries.txt"), "--hashes", at("hashes.txt"), "--checkpoint", at("checkpoint.txt"), "--checkpoint", kept, "--key", h.public), exitOK, "up to entry 9")
	h.want(h.verify("--entries", at("entries.txt"), "--checkpoint", at("checkpoint.txt"), "--key", h.public), exitOK, "0 hashes")

	h.forge(3)
	h.want(h.verify("--server", h.url, "--key", h.public, "--checkpoint", kept), exitFailed, "Not as it was signed: entry 3: not as signed.")
	got := h.verify("--server", h.url, "--key", h.public, "--checkpoint", kept, "--json")
	var answer reportAnswer
	if err := json.Unmarshal([]byte(got.stdout), &answer); err != nil || got.code != exitFailed {
		t.Fatalf("%+v: %v", got, err)
	}
	if answer.Sound || answer.FirstBad == nil || *answer.FirstBad != 3 || len(answer.Findings) != 1 || len(answer.Checkpoints) != 2 || answer.OrgID != h.org {
		t.Errorf("%s", got.stdout)
	}
}

// Of two pages of entries and of hashes none is lost, from the service that the other commands call.
func TestVerifyReadsAllPages(t *testing.T) {
	t.Parallel()
	h := newLogHouse(t)
	h.record(entriesOfAPage + 6) // of 1,006 entries 2,004 hashes are stored: two of each, less the 8 ones of 1,006 in binary
	saved := filepath.Join(h.dir, "saved")
	const all = "1006 entries were read, with 0 bodies and 2004 hashes"
	h.want(runWith(t, map[string]string{"RIDEOUT_SERVER": h.url}, "verify", "--key-file", h.file("key", h.key.Reveal()+"\n"), "--save", saved), exitOK, all)
	at := func(name string) string { return filepath.Join(saved, name) }
	h.want(h.verify("--entries", at("entries.txt"), "--hashes", at("hashes.txt"), "--checkpoint", at("checkpoint.txt"), "--key", h.public), exitOK, all)
}

// What is recorded while a log is read is neither taken for missing nor kept with the rest.
func TestVerifyABusyServer(t *testing.T) {
	t.Parallel()
	h := newLogHouse(t)
	h.record(5)
	var once sync.Once
	busy := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/v1/log/entries" || r.URL.Path == "/v1/log/hashes" {
			once.Do(func() { h.record(2) })
		}
		h.service.ServeHTTP(w, r)
	}))
	defer busy.Close()
	saved := filepath.Join(h.dir, "saved")
	const five = "5 entries were read, with 0 bodies and 8 hashes"
	h.want(h.verify("--server", busy.URL, "--key", h.public, "--save", saved), exitOK, five)
	at := func(name string) string { return filepath.Join(saved, name) }
	h.want(h.verify("--entries", at("entries.txt"), "--hashes", at("hashes.txt"), "--checkpoint", at("checkpoint.txt"), "--key", h.public), exitOK, five)
}

func TestNextPage(t *testing.T) {
	t.Parallel()
	for link, want := range map[string]int64{
		"": 0, `</v1/log/entries?after=7&limit=2>; rel="prev"`: 0, `</v1/log/entries?after=7&limit=2>; rel="next"`: 7,
		`<https://elsewhere.example/x?limit=2&after=9>; rel="next"`: 9, `</v1/log/entries>; rel="next"`: -1, `<:>; rel="next"`: -1,
	} {
		next, err := nextPage(link, "after")
		if (want < 0) != (err != nil) || (want > 0) != (next != nil) || (next != nil && *next != want) {
			t.Errorf("%s: %v, %v, want %d", link, next, err, want)
		}
	}
}

func TestVerifyAnExport(t *testing.T) {
	t.Parallel()
	h := newLogHouse(t)
	h.record(5)
	kept := h.take("kept.txt", "/v1/log/checkpoint")
	h.record(4)
	for _, format := range []string{"ndjson", "csv"} {
		file := h.take(format+"/audit."+format, "/v1/exports/audit?format="+format)
		manifest := h.take(format+"/manifest.json", "/v1/exports/manifest?since=5&format="+format)
		args := []string{"--manifest", manifest, "--key", h.public, "--checkpoint", kept}
		h.want(h.verify(args...), exitOK, "9 entries were read, with 9 bodies and 9 hashes")

		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		lines := strings.SplitAfter(string(text), "\n")
		third := 2 + len(lines) - 10 // CSV begins with names
		forged := strings.Replace(lines[third], "ro_test", "ro_other", 1)
		h.file(format+"/audit."+format, strings.Replace(string(text), lines[third], forged, 1))
		h.want(h.verify(args...), exitFailed, "Not as it was signed: entry 3: not as signed.")
		h.file(format+"/audit."+format, strings.Replace(string(text), lines[third], "", 1))
		h.want(h.verify(args...), exitFailed, "entry 3: missing from its place")
		if format == "ndjson" {
			h.file(format+"/audit."+format, strings.Replace(string(text), `"seq":1,`, `"seq": 1,`, 1))
			h.want(h.verify(args...), exitBadInput, "not byte for byte")
		}
		h.file(format+"/audit."+format, strings.Join(lines[:len(lines)-3], ""))
		h.want(h.verify(args...), exitFailed, "the export ends before")
	}
}

func TestVerifyNamesWhatItLacks(t *testing.T) {
	t.Parallel()
	h := newLogHouse(t)
	h.record(2)
	kept, entries := h.take("kept.txt", "/v1/log/checkpoint"), h.take("entries.txt", "/v1/log/entries")
	other := runWith(t, nil, "log-key", "--new", "--name", "another.example", "--file", filepath.Join(h.dir, "other.key"))
	for words, args := range map[string][]string{
		"give one of --manifest":    {"--manifest", kept, "--entries", entries},
		"give one of":               {"--entries", entries, "--server", h.url},
		"goes with --entries":       {"--hashes", kept, "--server", h.url, "--key", h.public},
		"what a service answers":    {"--entries", entries, "--checkpoint", kept, "--key", h.public, "--save", h.dir},
		"give the public key":       {"--entries", entries, "--checkpoint", kept},
		"at least one --checkpoint": {"--entries", entries, "--key", h.public},
		"no such file":              {"--entries", entries + "x", "--key", h.public, "--checkpoint", kept},
		"not signed by a known key": {"--entries", entries, "--key", strings.TrimSpace(other.stdout), "--checkpoint", kept},
		"no manifest":               {"--manifest", kept, "--key", h.public},
		"malformed: public key":     {"--entries", entries, "--key", "x", "--checkpoint", kept},
		"no such route":             {"--server", h.url + "/nowhere", "--key", h.public},
	} {
		h.want(h.verify(args...), exitBadInput, words)
	}
	got := runWith(t, nil, "verify", "--server", h.url)
	h.want(got, exitBadInput, "RIDEOUT_KEY")
}

func TestLogKeyIsMadeOnce(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "log.key")
	missing := runWith(t, nil, "log-key", "--file", file)
	if missing.code != exitFailed || !strings.Contains(missing.stderr, "--new") {
		t.Errorf("without a key: %+v", missing)
	}
	made := runWith(t, nil, "log-key", "--new", "--name", "rideout.example", "--file", file)
	if made.code != exitOK || !strings.HasPrefix(made.stdout, "rideout.example+") {
		t.Fatalf("%+v", made)
	}
	info, err := os.Stat(file)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the key's file is %v, %v; want 0600", info.Mode(), err)
	}
	if again := runWith(t, map[string]string{"RIDEOUT_LOG_KEY_FILE": file}, "log-key"); again.stdout != made.stdout {
		t.Errorf("read again it is %q, want %q", again.stdout, made.stdout)
	}
	if over := runWith(t, nil, "log-key", "--new", "--file", file); over.code != exitFailed {
		t.Errorf("a second key over the first: %+v", over)
	}
	if bad := runWith(t, nil, "log-key", "--new", "--name", "two words", "--file", file+"2"); bad.code != exitBadInput {
		t.Errorf("a name of two words: %+v", bad)
	}
	if none := runWith(t, map[string]string{"DATABASE_URL": "postgres://db.example/rideout"}, "log-key"); none.code != exitBadInput {
		t.Errorf("a given database and no file: %+v", none)
	}
	private, err := os.ReadFile(file)
	if err != nil || strings.Contains(made.stdout, strings.Split(strings.TrimSpace(string(private)), "+")[4]) {
		t.Error("the private key was printed")
	}
}

func TestPrivateDatabaseHasAKey(t *testing.T) {
	t.Parallel()
	c := config{DataDir: t.TempDir()}
	var said strings.Builder
	first, err := signerOf(c, newLog(&said, config{}))
	if err != nil {
		t.Fatal(err)
	}
	second, err := signerOf(c, newLog(&said, config{}))
	if err != nil || first.Public() == "" || second.Public() != first.Public() {
		t.Errorf("the key is %q, then %q, %v", first.Public(), second.Public(), err)
	}
	c.DatabaseURL = "postgres://db.example/rideout"
	if none, err := signerOf(c, newLog(&said, config{})); err != nil || none != (ledger.Signer{}) || !strings.Contains(said.String(), "RIDEOUT_LOG_KEY_FILE") {
		t.Errorf("a given database: %v, %v, %q", none, err, said.String())
	}
	c.LogKeyFile = filepath.Join(c.DataDir, "missing")
	if _, err := signerOf(c, newLog(&said, config{})); err == nil {
		t.Error("a key that is named and not there is made")
	}
}
