package api_test

import (
	"context"
	"encoding/json"
	"fmt"
	"html"
	"io"
	"maps"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"rideout/api/page"
	"rideout/service/planner"
)

// withoutExample are the operations the page shows no call for. A review is the owner's, who has another key than whoever
// opened the access.
var withoutExample = []string{"reviewEmergencyAccess"}

var (
	runnable = regexp.MustCompile(`(?s)<pre class="run" tabindex="0">(.*?)</pre>`)
	article  = regexp.MustCompile(`(?s)<article id="([a-zA-Z]+)">(.*?)</article>`)
	sentFile = regexp.MustCompile(`(?s)<pre id="plan.json" tabindex="0">(.*?)</pre>`)
	variable = regexp.MustCompile(`\$([A-Z_]+)`)
)

// demonstrated is a world with what the demo has: Kestrel, and a plan for her. Its plans are not computed anew.
func demonstrated(t *testing.T) *world {
	t.Helper()
	w, _ := kestrelWorld(t)
	kestrel := w.compute
	w.compute = func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		plan, working, err := kestrel(ctx, r)
		plan.VesselName = r.Vessel.Name
		return plan, working, err
	}
	var body map[string]any
	if err := json.Unmarshal([]byte(exampleBody(t)), &body); err != nil {
		t.Fatal(err)
	}
	answer := w.do(http.MethodPost, "/v1/vessels?valid_from=2025-01-01T00:00:00Z", asText(t, body["vessel"]), "Idempotency-Key", "vessel")
	if answer.StatusCode != http.StatusCreated {
		t.Fatalf("register: %d %s", answer.StatusCode, text(t, answer))
	}
	var made struct{ ID string }
	if err := json.Unmarshal([]byte(text(t, answer)), &made); err != nil {
		t.Fatal(err)
	}
	delete(body, "vessel")
	delete(body, "gear")
	body["vessel_id"] = made.ID
	w.plan(t, body, "of-hers")
	w.lend(map[string]string{})
	return w
}

// Each call the docs show beside a route is made, and answered as it should be.
func TestExamplesOfTheDocsRun(t *testing.T) {
	t.Parallel()
	w := demonstrated(t)
	docs := text(t, w.do(http.MethodGet, "/docs", ""))
	s := newShell(t, w)
	s.files["plan.json"] = []byte(html.UnescapeString(sentFile.FindStringSubmatch(docs)[1]))
	s.run("before you begin", html.UnescapeString(runnable.FindStringSubmatch(docs)[1]))

	waiting, there := map[string]string{}, map[string]bool{}
	for _, found := range article.FindAllStringSubmatch(docs, -1) {
		if example := runnable.FindStringSubmatch(found[2]); example != nil {
			waiting[found[1]], there[found[1]] = html.UnescapeString(example[1]), true
		}
	}
	for path, item := range theContract().Paths.Map() {
		for method, op := range item.Operations() {
			if there[op.OperationID] == slices.Contains(withoutExample, op.OperationID) {
				t.Errorf("%s %s (%s): there is an example: %v. What one sends is an example in its schema, or a row of samples in api/page/examples.go", method, path, op.OperationID, there[op.OperationID])
			}
		}
	}
	for len(waiting) > 0 { // an example may need what another makes
		ran, removals := 0, true // what is removed, is removed last
		for _, call := range waiting {
			removals = removals && strings.Contains(call, "-X DELETE")
		}
		for _, id := range slices.Backward(slices.Sorted(maps.Keys(waiting))) { // what is put before what is got
			if s.has(waiting[id]) && (removals || !strings.Contains(waiting[id], "-X DELETE")) {
				s.run(id, waiting[id])
				delete(waiting, id)
				ran++
			}
		}
		if ran == 0 {
			t.Fatalf("nothing sets what these need: %v", waiting)
		}
	}
}

func TestExamplesOfTheGuidesRun(t *testing.T) {
	t.Parallel()
	for _, g := range page.Guides() {
		t.Run(g.Name, func(t *testing.T) {
			t.Parallel()
			w := demonstrated(t)
			answer := w.do(http.MethodGet, "/docs/"+g.Name, "")
			body := html.UnescapeString(text(t, answer))
			if answer.StatusCode != http.StatusOK || !strings.Contains(body, "Keep feet clear of the rode.") || !strings.Contains(body, g.Title) {
				t.Errorf("status %d; the page lacks its title or the cautions", answer.StatusCode)
			}
			for _, elsewhere := range []string{"<script", "src=", "@import", "url(", "https://"} {
				if strings.Contains(body, elsewhere) {
					t.Errorf("the page has %s", elsewhere)
				}
			}
			s := newShell(t, w)
			calls := runnable.FindAllStringSubmatch(body, -1)
			if len(calls) < 4 {
				t.Errorf("%d examples", len(calls))
			}
			for i, call := range calls {
				s.run(fmt.Sprintf("example %d", i+1), html.UnescapeString(call[1]))
			}
		})
	}
	w := newWorld(t)
	if answer := w.do(http.MethodGet, "/docs/nobody", ""); answer.StatusCode != http.StatusNotFound {
		t.Errorf("a guide for nobody: %d", answer.StatusCode)
	}
}

// The guides as a person runs them, by bash, curl and jq, where those are installed.
func TestGuidesRunInAShell(t *testing.T) {
	t.Parallel()
	for _, tool := range []string{"bash", "curl", "jq"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Logf("%s is not installed: the guides were run by the test's own reader alone", tool)
			return
		}
	}
	for _, g := range page.Guides() {
		w := demonstrated(t)
		server := httptest.NewServer(w.api)
		defer server.Close()
		script := "set -eu\ncurl() { command curl --fail-with-body \"$@\" || { code=$?; [ $code = 28 ] || return $code; }; }\n" // 28: --max-time of a stream
		for _, call := range runnable.FindAllStringSubmatch(text(t, w.do(http.MethodGet, "/docs/"+g.Name, "")), -1) {
			script += html.UnescapeString(call[1]) + "\n"
		}
		script = strings.NewReplacer("http://127.0.0.1:8080", server.URL, "ro_as_the_demo_prints_it", w.key, "--max-time 5", "--max-time 1").Replace(script)
		run := exec.Command("bash", "-c", script)
		run.Dir = t.TempDir()
		run.Env = append(os.Environ(), "no_proxy=127.0.0.1")
		if out, err := run.CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s", g.Name, err, out[max(0, len(out)-2000):])
		}
	}
}

// shell runs what the docs show: curl, jq and assignments. It knows no more than they use.
type shell struct {
	t         *testing.T
	w         *world
	variables map[string]string
	files     map[string][]byte
}

func newShell(t *testing.T, w *world) *shell {
	return &shell{t: t, w: w, variables: map[string]string{}, files: map[string][]byte{}}
}

// has tells whether every variable of a text is set.
func (s *shell) has(text string) bool {
	text, _, _ = strings.Cut(text, "=$(jq")
	for _, found := range variable.FindAllStringSubmatch(text, -1) {
		if _, set := s.variables[found[1]]; !set {
			return false
		}
	}
	return true
}

func (s *shell) run(name, script string) {
	s.t.Helper()
	for script != "" {
		var words []string
		if words, script = s.command(name, script); len(words) == 0 {
			continue
		}
		switch assigned, value, is := strings.Cut(words[0], "="); {
		case words[0] == "export":
			variable, _, _ := strings.Cut(words[1], "=")
			s.variables[variable] = map[string]string{"RIDEOUT_URL": "", "RIDEOUT_KEY": s.w.key}[variable]
		case words[0] == "curl":
			s.curl(name, words[1:])
		case words[0] == "jq":
			s.jq(name, words[1:])
		case is:
			inner, ok := strings.CutPrefix(value, "$(")
			if !ok {
				s.t.Fatalf("%s: cannot run %q", name, words)
			}
			s.variables[assigned] = s.jq(name, strings.Fields(strings.TrimSuffix(inner, ")"))[1:])
		default:
			s.t.Fatalf("%s: cannot run %q", name, words)
		}
	}
}

// command takes the first command off a script, as words, as a shell does: quotes, line ends, variables, $(cat FILE).
func (s *shell) command(name, script string) (words []string, rest string) {
	s.t.Helper()
	var word strings.Builder
	quote, within := byte(0), false
	end := func() {
		if within {
			words, within = append(words, word.String()), false
			word.Reset()
		}
	}
	for i := 0; i < len(script); i++ {
		c := script[i]
		switch {
		case c == '\\' && quote != '\'' && i+1 < len(script) && script[i+1] == '\n':
			i++
		case c == quote && quote != 0:
			quote = 0
		case quote == 0 && (c == '\'' || c == '"'):
			quote, within = c, true
		case c == '$' && quote != '\'' && strings.HasPrefix(script[i:], "$("):
			inner := script[i : i+strings.IndexByte(script[i:], ')')+1]
			i += len(inner) - 1
			within = true
			if file, ok := strings.CutPrefix(inner, "$(cat "); ok {
				inner = string(s.files[strings.TrimSuffix(file, ")")])
			}
			word.WriteString(inner)
		case c == '$' && quote != '\'':
			found := variable.FindString(script[i:])
			value, set := s.variables[found[1:]]
			if !set {
				s.t.Fatalf("%s: %s is not set", name, found)
			}
			i += len(found) - 1
			within = true
			word.WriteString(value)
		case quote == 0 && (c == ' ' || c == '\t'):
			end()
		case quote == 0 && c == '\n':
			end()
			return words, script[i+1:]
		default:
			within = true
			word.WriteByte(c)
		}
	}
	end()
	return words, ""
}

// curl makes one call. Anything but success and "not modified" is a fault of the docs.
func (s *shell) curl(name string, words []string) {
	s.t.Helper()
	method, body, out, address, saved := http.MethodGet, "", "", "", ""
	limit := time.Duration(0)
	header := http.Header{}
	for i := 0; i < len(words); i++ {
		next := func() string { i++; return words[i] }
		switch word := words[i]; word {
		case "-sS", "-sSN", "-N", "--retry-all-errors":
		case "--compressed":
			header.Set("Accept-Encoding", "gzip")
		case "--retry", "--connect-timeout":
			next()
		case "--max-time":
			next()
			limit = 50 * time.Millisecond
		case "-X":
			method = next()
		case "-H":
			field, value, _ := strings.Cut(next(), ": ")
			header.Add(field, value)
		case "-d":
			body = next()
		case "--data-binary":
			body = string(s.files[strings.TrimPrefix(next(), "@")])
		case "-o":
			out = next()
		case "--etag-save":
			saved = next()
		case "--etag-compare":
			header.Set("If-None-Match", string(s.files[next()]))
		default:
			if strings.HasPrefix(word, "-") || address != "" {
				s.t.Fatalf("%s: the test's curl does not know %s", name, word)
			}
			address = word
		}
	}
	if body != "" && method == http.MethodGet {
		method = http.MethodPost
	}
	ctx := s.t.Context()
	if limit > 0 {
		var stop func()
		ctx, stop = context.WithTimeout(ctx, limit)
		defer stop()
	}
	r := httptest.NewRequestWithContext(ctx, method, address, strings.NewReader(body))
	r.Header = header
	recorder := httptest.NewRecorder()
	s.w.api.ServeHTTP(recorder, r)
	answer := recorder.Result()
	content, err := io.ReadAll(answer.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	if answer.StatusCode >= 300 && answer.StatusCode != http.StatusNotModified {
		s.t.Errorf("%s: %s %s answers %d %s", name, method, address, answer.StatusCode, content)
	}
	if answer.StatusCode == http.StatusOK && len(content) == 0 {
		s.t.Errorf("%s: %s %s answers nothing", name, method, address)
	}
	if out != "" && answer.StatusCode != http.StatusNotModified {
		s.files[out] = content
	}
	if saved != "" {
		s.files[saved] = []byte(answer.Header.Get("ETag"))
	}
}

// jq gives what a path such as .items[0].id leads to, which must be there.
func (s *shell) jq(name string, words []string) string {
	s.t.Helper()
	if words[0] == "-r" {
		words = words[1:]
	}
	path, file := words[0], words[1]
	var tree any
	if err := json.Unmarshal(s.files[file], &tree); err != nil {
		s.t.Fatalf("%s: %s: %v", name, file, err)
	}
	for part := range strings.SplitSeq(strings.Trim(strings.ReplaceAll(path, "[0]", ".0"), "."), ".") {
		switch at := tree.(type) {
		case map[string]any:
			tree = at[part]
		case []any:
			if tree = nil; len(at) > 0 {
				tree = at[0]
			}
		}
	}
	if tree == nil {
		s.t.Fatalf("%s: %s has no %s: %.300s", name, file, path, s.files[file])
	}
	return fmt.Sprint(tree)
}
