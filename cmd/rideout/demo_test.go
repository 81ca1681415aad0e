package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"os"
	"os/exec"
	"reflect"
	"strings"
	"syscall"
	"testing"
	"time"
)

// A demo that is killed comes back with the same plans to the byte, and the key of before still opens.
func TestDemoOutlivesAKill(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	first := startDemo(t, dir)
	before := first.readAll(t, first.ready.Key)
	if len(before) < 6 {
		t.Fatalf("got %d plans, want at least 6", len(before))
	}
	listed := first.list(t)
	first.isGolden(t)
	if err := first.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	first.cmd.Wait()

	second := startDemo(t, dir)
	after := second.readAll(t, first.ready.Key)
	if len(after) != len(before) {
		t.Errorf("got %d plans after the kill, want %d", len(after), len(before))
	}
	for id, want := range before {
		if !bytes.Equal(after[id], want) {
			t.Errorf("plan %s differs after the kill", id)
		}
	}
	if again := second.list(t); !bytes.Equal(again, listed) {
		t.Errorf("the list differs after the kill: %s\nand before: %s", again, listed)
	}
	if err := second.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := second.cmd.Wait(); err != nil {
		t.Errorf("after SIGTERM it ended with %v: %s", err, second.stderr)
	}
}

func TestServeNeedsAKeyThatRideoutKeyMakes(t *testing.T) {
	t.Parallel()
	dir := dataDir(t)
	made := runWith(t, nil, "key", "--organisation", "Vestvik", "--data-dir", dir)
	if made.code != exitOK {
		t.Fatalf("got code %d and %q", made.code, made.stderr)
	}
	key := strings.TrimSpace(made.stdout)

	ctx, stop := context.WithCancel(t.Context())
	served := make(chan int, 1)
	stderr := &lines{seen: make(chan string, 100)}
	go func() {
		served <- run(ctx, program{func(string) string { return "" }, io.Discard, stderr}, []string{"serve", "--addr", "127.0.0.1:0", "--data-dir", dir})
	}()
	url := stderr.await(t, "url=")
	if status, _ := get(t, url+"/v1/plans", ""); status != http.StatusUnauthorized {
		t.Errorf("without a key: got %d, want 401", status)
	}
	if status, body := get(t, url+"/v1/plans", key); status != http.StatusOK {
		t.Errorf("with the key: got %d %s, want 200", status, body)
	}
	if status, _ := get(t, url+"/readyz", ""); status != http.StatusOK {
		t.Errorf("/readyz: got %d, want 200", status)
	}
	stop()
	if code := <-served; code != exitOK {
		t.Errorf("it ended with code %d", code)
	}
	for _, steps := range [][]string{{"migrate", "--down", "1", "--data-dir", dir}, {"migrate", "--data-dir", dir}} {
		if got := runWith(t, nil, steps...); got.code != exitOK || !strings.Contains(got.stdout, "the database is at version") {
			t.Errorf("%q: got code %d, %q and %q", steps, got.code, got.stdout, got.stderr)
		}
	}
}

// dataDir is one that the account a private Postgres runs as can reach.
func dataDir(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "rideout-test-*")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}

// running is the program as a process of its own.
type running struct {
	cmd    *exec.Cmd
	ready  demoReady
	stderr *bytes.Buffer
}

func startDemo(t *testing.T, dir string) running {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	r := running{cmd: exec.Command(self, "demo", "--json", "--addr", "127.0.0.1:0", "--data-dir", dir), stderr: &bytes.Buffer{}}
	r.cmd.Env = append(os.Environ(), asProgram+"=1")
	r.cmd.Stderr = r.stderr
	stdout, err := r.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := r.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.cmd.Process.Kill() }) // it has ended already where all went well
	line, err := bufio.NewReader(stdout).ReadBytes('\n')
	if err != nil {
		r.cmd.Wait()
		t.Fatalf("the demo printed no line: %v; it says: %s", err, r.stderr)
	}
	if err := json.Unmarshal(line, &r.ready); err != nil {
		t.Fatalf("the first line is %q: %v", line, err)
	}
	return r
}

// readAll reads each plan the demo named.
func (r running) readAll(t *testing.T, key string) map[string][]byte {
	t.Helper()
	plans := map[string][]byte{}
	for _, vessel := range r.ready.Vessels {
		for _, id := range vessel.PlanIDs {
			status, body := get(t, r.ready.URL+"/v1/plans/"+id, key)
			if status != http.StatusOK || !bytes.Contains(body, []byte(vessel.Name)) {
				t.Fatalf("plan %s of %s: got %d %s", id, vessel.Name, status, body)
			}
			plans[id] = body
		}
	}
	return plans
}

// isGolden holds the board of that evening, as the store has it, against the golden one, which comes from a history in memory.
func (r running) isGolden(t *testing.T) {
	t.Helper()
	at := demoEvening.Format(time.RFC3339)
	status, body := get(t, r.ready.URL+"/v1/readiness?limit=100&valid_at="+at+"&known_at="+at, r.ready.Key)
	golden, err := os.ReadFile(goldenBoard)
	if err != nil {
		t.Fatal(err)
	}
	var got struct{ Items []any }
	var want []any
	if err := errors.Join(json.Unmarshal(body, &got), json.Unmarshal(golden, &want)); status != http.StatusOK || err != nil {
		t.Fatalf("board: got %d %s, %v", status, body, err)
	}
	if !reflect.DeepEqual(got.Items, want) {
		t.Errorf("the board differs from the golden one: %s", body)
	}
}

func (r running) list(t *testing.T) []byte {
	t.Helper()
	status, body := get(t, r.ready.URL+"/v1/plans?limit=200", r.ready.Key)
	if status != http.StatusOK {
		t.Fatalf("list of plans: got %d %s", status, body)
	}
	return body
}

func get(t *testing.T, url, key string) (int, []byte) {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url, nil)
	if err != nil {
		t.Fatal(err)
	}
	if key != "" {
		request.Header.Set("Authorization", "Bearer "+key)
	}
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	body, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	return response.StatusCode, body
}

// lines hands on what is logged.
type lines struct{ seen chan string }

func (l *lines) Write(b []byte) (int, error) {
	l.seen <- string(b)
	return len(b), nil
}

// await gives what follows a mark, up to the end of the word.
func (l *lines) await(t *testing.T, mark string) string {
	t.Helper()
	limit := time.After(time.Minute)
	said := ""
	for {
		select {
		case line := <-l.seen:
			said += line
			if _, rest, ok := strings.Cut(line, mark); ok {
				return strings.Fields(rest)[0]
			}
		case <-limit:
			t.Fatalf("%q did not come: %s", mark, said)
		}
	}
}
