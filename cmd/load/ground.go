package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/store/private"
	"rideout/testdata/demo"
)

const organisations = 4

// ground is what is measured on: a private Postgres that forces to disk what it says it has, the service without limits and
// with patience for what is made at the start, once more with its usual limits and budget, and the bare handler.
type ground struct {
	binary   string
	dir      string
	database *private.Server
	served   []*exec.Cmd
	http     *http.Client

	service, usual, bare string // addresses
	keys                 []string
	plans                []uuid.UUID // of each key's organisation
	vessel               uuid.UUID   // of the first
	order                map[string]any
	asked                atomic.Int64 // Idempotency-Keys used
	afloat               int          // vessels at sea
}

// openDatabase makes what all measures need: the Postgres and keys.
func openDatabase(ctx context.Context, binary string) (g *ground, err error) {
	g = &ground{binary: binary, http: &http.Client{Timeout: 30 * time.Second, Transport: &http.Transport{
		MaxIdleConns: 4096, MaxIdleConnsPerHost: 4096, DisableCompression: true,
	}}}
	defer func() {
		if err != nil {
			err = errors.Join(err, g.close())
		}
	}()
	if g.dir, err = os.MkdirTemp("", "rideout-load"); err != nil {
		return g, err
	}
	if err := os.Chmod(g.dir, 0o755); err != nil { // as root the database runs as another account
		return g, err
	}
	if g.database, err = private.Start(ctx, filepath.Join(g.dir, "data"), private.Options{}); err != nil {
		return g, err
	}
	for i := range organisations {
		made, err := g.command(ctx, binary, nil, "key", "--organisation", fmt.Sprintf("Load %d", i)).Output()
		if err != nil {
			return g, fmt.Errorf("make a key: %w", err)
		}
		g.keys = append(g.keys, strings.TrimSpace(string(made)))
	}
	if err := g.command(ctx, binary, nil, "log-key", "--new").Run(); err != nil {
		return g, fmt.Errorf("make the log's key: %w", err)
	}
	g.order = map[string]any{
		"vessel": part("vessels/kestrel"), "gear": part("gear/kestrel"), "forecast": part("forecasts/storm"), "intent": "ride_out_storm",
		"position": map[string]any{"latitude_deg": 61.2, "longitude_deg": -6.4},
	}
	return g, nil
}

// unlimited is for a service that refuses nothing and has patience.
var unlimited = []string{"RIDEOUT_LIMIT_KEY=0", "RIDEOUT_LIMIT_ORGANISATION=0", "RIDEOUT_LIMIT_RESCUE=0", "RIDEOUT_BUDGET=1m"}

// open starts the services and the bare handler, where they do not run.
func (g *ground) open(ctx context.Context) (err error) {
	if g.bare != "" {
		return nil
	}
	if g.service, err = g.serve(ctx, "/readyz", func(addr string) *exec.Cmd { return g.command(ctx, g.binary, unlimited, "serve", "--addr", addr) }); err != nil {
		return err
	}
	if g.usual, err = g.serve(ctx, "/readyz", func(addr string) *exec.Cmd {
		return g.command(ctx, g.binary, []string{"RIDEOUT_LIMIT_RESCUE=0"}, "serve", "--addr", addr)
	}); err != nil {
		return err
	}
	if err := g.settle(ctx); err != nil {
		return err
	}
	self, err := os.Executable()
	if err != nil {
		return err
	}
	g.bare, err = g.serve(ctx, "/", func(addr string) *exec.Cmd { return exec.CommandContext(ctx, self, bareVerb, addr, g.database.URL()) })
	return err
}

// part is one of the demo's.
func part(name string) (v any) {
	text, err := demo.FS.ReadFile(name + ".json")
	if err == nil {
		err = json.Unmarshal(text, &v)
	}
	if err != nil {
		panic(err) // it is embedded
	}
	return v
}

func (g *ground) command(ctx context.Context, binary string, env []string, args ...string) *exec.Cmd {
	c := exec.CommandContext(ctx, binary, args...)
	c.Env = slices.Concat(os.Environ(), []string{"DATABASE_URL=" + g.database.URL(), "RIDEOUT_LOG_KEY_FILE=" + filepath.Join(g.dir, "log.key")}, env)
	return c
}

// serve starts a program on a free port and waits until it answers. What it logs goes to a file, as it would in earnest.
func (g *ground) serve(ctx context.Context, ready string, program func(addr string) *exec.Cmd) (string, error) {
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	addr := free.Addr().String()
	if err := free.Close(); err != nil {
		return "", err
	}
	c := program(addr)
	log, err := os.Create(filepath.Join(g.dir, "log."+addr))
	if err != nil {
		return "", err
	}
	defer log.Close()
	c.Stdout, c.Stderr = log, log
	c.Cancel = func() error { return c.Process.Signal(syscall.SIGTERM) }
	if err := c.Start(); err != nil {
		return "", err
	}
	g.served = append(g.served, c)
	for range 600 {
		if answer, err := g.http.Get("http://" + addr + ready); err == nil {
			_ = answer.Body.Close()
			return "http://" + addr, nil
		}
		select {
		case <-ctx.Done():
			return "", ctx.Err()
		case <-time.After(50 * time.Millisecond):
		}
	}
	text, _ := os.ReadFile(log.Name())
	return "", fmt.Errorf("%s does not answer: %.2000s", c.Path, text)
}

// stop ends what was started.
func (g *ground) stop() {
	for _, c := range g.served {
		_ = c.Process.Signal(syscall.SIGTERM) // one that has ended cannot be told to
		_ = c.Wait()
	}
	g.served = nil
}

func (g *ground) close() error {
	var errs []error
	g.stop()
	if g.database != nil {
		errs = append(errs, g.database.Stop())
	}
	return errors.Join(append(errs, os.RemoveAll(g.dir))...)
}

// settle makes what is asked for later: a plan of each organisation, and of the first a registered vessel with one.
func (g *ground) settle(ctx context.Context) error {
	order := g.body(g.order)
	for _, key := range g.keys {
		id, err := g.made(ctx, "/v1/plans", key, order)
		if err != nil {
			return err
		}
		g.plans = append(g.plans, id)
	}
	vessel, err := g.made(ctx, "/v1/vessels", g.keys[0], g.body(g.order["vessel"]))
	if err != nil {
		return err
	}
	g.vessel = vessel
	named := map[string]any{"vessel_id": vessel, "gear": g.order["gear"], "forecast": g.order["forecast"], "intent": "ride_out_storm"}
	if _, err := g.made(ctx, "/v1/plans", g.keys[0], g.body(named)); err != nil {
		return err
	}
	db, err := pgx.Connect(ctx, g.database.URL())
	if err != nil {
		return err
	}
	defer db.Close(ctx)
	for _, statement := range []string{makeBare, `VACUUM ANALYZE`} {
		if _, err := db.Exec(ctx, statement); err != nil {
			return err
		}
	}
	// Who made a private Postgres is above its walls.
	if _, err := db.Exec(ctx, fillBare, g.plans[0]); err != nil {
		return err
	}
	var inputs, answer, working int
	if err := db.QueryRow(ctx, `SELECT length(inputs::text), length(answer::text), length(working::text) FROM bare`).Scan(&inputs, &answer, &working); err != nil {
		return err
	}
	fmt.Printf("a plan here: %d bytes of inputs, %d of answer, %d of working; Postgres %s, fsync on\n", inputs, answer, working, g.database.Version)
	return nil
}

func (g *ground) body(v any) []byte {
	text, err := json.Marshal(v)
	if err != nil {
		panic(err) // it came from JSON
	}
	return text
}

// made posts a body, as often as the service is too busy, and gives the id of what was made.
func (g *ground) made(ctx context.Context, path, key string, body []byte) (id uuid.UUID, err error) {
	for range 60 {
		answer, err := g.http.Do(g.post(ctx, g.service+path, key, body))
		if err != nil {
			return id, err
		}
		text, err := io.ReadAll(answer.Body)
		_ = answer.Body.Close()
		var said struct{ ID uuid.UUID }
		switch {
		case err != nil:
			return id, err
		case answer.StatusCode == http.StatusServiceUnavailable:
			time.Sleep(time.Second)
		case answer.StatusCode != http.StatusCreated:
			return id, fmt.Errorf("POST %s: %d %s", path, answer.StatusCode, text)
		default:
			err := json.Unmarshal(text, &said)
			return said.ID, err
		}
	}
	return id, fmt.Errorf("POST %s: too busy for a minute", path)
}

func (g *ground) get(ctx context.Context, address, key string, fields ...string) *http.Request {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, address, nil)
	if err != nil {
		panic(err) // the addresses are ours
	}
	r.Header.Set("Authorization", "Bearer "+key)
	for i := 0; i < len(fields); i += 2 {
		r.Header.Set(fields[i], fields[i+1])
	}
	return r
}

// post makes a request under an Idempotency-Key of its own.
func (g *ground) post(ctx context.Context, address, key string, body []byte) *http.Request {
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, address, bytes.NewReader(body))
	if err != nil {
		panic(err)
	}
	r.Header.Set("Authorization", "Bearer "+key)
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Idempotency-Key", fmt.Sprintf("load-%d", g.asked.Add(1)))
	return r
}
