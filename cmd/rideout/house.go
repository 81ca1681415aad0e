package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"path/filepath"
	"runtime"
	"time"

	"github.com/google/uuid"

	"rideout/api"
	"rideout/api/courier"
	"rideout/api/metrics"
	"rideout/api/trace"
	"rideout/service"
	"rideout/service/planner"
	"rideout/store"
	"rideout/store/jobs"
	"rideout/store/private"
	"rideout/store/safe"
)

// database is a migrated one, ours or a given one.
type database struct {
	store *store.Store
	own   *private.Server // nil for a given one
}

// openDatabase starts a private Postgres unless one is given, and brings it to this program's version. Its statements are traced,
// unless traces is nil.
func openDatabase(ctx context.Context, c config, log *slog.Logger, traces *trace.Traces) (_ database, err error) {
	d := database{}
	defer func() {
		if err != nil {
			err = errors.Join(err, d.close())
		}
	}()
	address := c.DatabaseURL
	if address == "" {
		if d.own, err = private.Start(ctx, c.DataDir, private.Options{}); err != nil {
			return d, err
		}
		address = d.own.URL()
		log.Info("private database started", "version", d.own.Version, "data_dir", c.DataDir)
	}
	if err := c.requireDurable(ctx, address, log); err != nil {
		return d, err
	}
	if err := store.Migrate(ctx, address); err != nil {
		return d, err
	}
	d.store, err = store.Open(ctx, store.Config{URL: address, MaxConns: int32(c.Connections), Tracer: traces.Statements()})
	return d, err
}

// requireDurable refuses a database that may lose what it has confirmed, unless that is wanted.
func (c config) requireDurable(ctx context.Context, address string, log *slog.Logger) error {
	if !c.Keeps {
		return nil
	}
	err := store.Durable(ctx, address)
	switch {
	case errors.Is(err, store.ErrNotDurable) && c.UnsafeDatabase:
		log.Warn("serving on a database that is not safe", "error", err)
		return nil
	case errors.Is(err, store.ErrNotDurable):
		return usageError{err.Error() + "; turn it on, or set RIDEOUT_UNSAFE_DATABASE=1 if nothing is to last"}
	}
	return err
}

func (d database) close() error {
	if d.store != nil {
		d.store.Close()
	}
	if d.own == nil {
		return nil
	}
	if err := d.own.Stop(); err != nil {
		return fmt.Errorf("stop the private database: %w", err)
	}
	return nil
}

// processors is how many there are to compute with.
var processors = runtime.GOMAXPROCS(0)

// shareProcessors has Go run more threads than there are processors. Else, while each of them computes, who reads waits for
// Go to take one away, 10 ms for each thing it waits for; the system shares them out at once.
func shareProcessors() { runtime.GOMAXPROCS(2 * processors) }

// plansOf gives the use cases, with the clock, the names and the computation of the real world. A calculation uses all the
// processors it finds: as many at once as there are would each take so much longer that none came in time.
func plansOf(s *store.Store, budget time.Duration) *service.Plans {
	return &service.Plans{History: s, Clock: time.Now, NewID: newID, Compute: planner.Compute, Budget: budget, AtOnce: max(1, processors/2)}
}

// registersOf gives the use cases on the book.
func registersOf(s *store.Store) *service.Registers {
	return &service.Registers{History: s, Clock: time.Now, NewID: newID}
}

// keysOf gives the use cases on keys.
func keysOf(s *store.Store) *service.Keys {
	return &service.Keys{History: s, Clock: time.Now, NewID: newID}
}

// eventsOf gives the use cases on what happened.
func eventsOf(s *store.Store) *service.Events { return &service.Events{Log: s, Clock: time.Now} }

// emergencyOf gives the use cases of emergency access.
func emergencyOf(s *store.Store) *service.Emergency {
	return &service.Emergency{Lender: s, History: s, Clock: time.Now, NewID: newID}
}

// replanBudget is for one plan made in the background, where nobody waits for it alone: ten times a request's. It is computed
// within a transaction, which the database ends after store.DefaultWorkTimeout.
const replanBudget = 20 * time.Second

// forecastsOf gives the use cases on forecasts for areas.
func forecastsOf(s *store.Store) *service.AreaForecasts {
	return &service.AreaForecasts{History: s, Book: s, Clock: time.Now, NewID: newID, Plans: plansOf(s, replanBudget)}
}

// newID gives a name that sorts by its time, which keeps the store's indexes compact.
func newID() uuid.UUID { return uuid.Must(uuid.NewV7()) }

// listen takes the port before anything slow is done, so that one that is taken is told at once.
func listen(ctx context.Context, addr string) (net.Listener, error) {
	listener, err := new(net.ListenConfig).Listen(ctx, "tcp", addr)
	if err != nil {
		return nil, fmt.Errorf("%w: free the port or choose another by --addr", err)
	}
	return listener, nil
}

// webhooksOf gives the use cases on webhooks. Where there is no key to keep secrets under, none can be made.
func webhooksOf(c config, s *store.Store) (*service.Webhooks, error) {
	w := &service.Webhooks{History: s, Log: s, Events: eventsOf(s), Courier: courier.New(courier.Config{Allow: c.Networks}), Clock: time.Now, NewID: newID}
	box, err := c.safe()
	if box != nil {
		w.Safe = box
	}
	return w, err
}

// safe loads the key; beside a private Postgres it is made on the first start.
func (c config) safe() (*safe.Safe, error) {
	switch {
	case c.SecretsKey != "":
		return safe.Load(c.SecretsKey)
	case c.DatabaseURL == "":
		return safe.LoadOrMake(filepath.Join(c.DataDir, "secrets.key"))
	}
	return nil, nil
}

// workersOf gives what does the jobs that are noted for later, by their kinds.
func workersOf(forecasts *service.AreaForecasts, webhooks *service.Webhooks) service.Workers {
	return service.Workers{
		// One place to compute is left to requests, which go before. The limit is more than a plan's budget, so that what is too slow says so itself.
		service.JobReplan: {Do: forecasts.Replan, Limit: 2 * replanBudget, AtOnce: max(1, processors-1)},
		// These wait for others and compute nothing.
		service.JobDeliver: {Do: webhooks.Deliver, Limit: service.DeliverLimit, AtOnce: 16},
	}
}

// serveAPI serves and has jobs done until the context ends, the last requests are answered and the jobs at work are done.
func serveAPI(ctx context.Context, c config, d database, m *metrics.Metrics, traces *trace.Traces, listener net.Listener, log *slog.Logger) (err error) {
	shareProcessors()
	signer, err := signerOf(c, log)
	if err != nil {
		return err
	}
	webhooks, err := webhooksOf(c, d.store)
	if err != nil {
		return err
	}
	if webhooks.Safe == nil {
		log.Warn("no webhooks can be made: RIDEOUT_SECRETS_KEY_FILE is not set")
	}
	plans, forecasts := plansOf(d.store, c.Budget), forecastsOf(d.store)
	watch(m, traces, d.store, plans, forecasts, webhooks)
	work, err := d.store.StartWork(ctx, jobs.Config{Workers: m.Workers(traces.Workers(workersOf(forecasts, webhooks))), Log: log})
	if err != nil {
		return err
	}
	ctx, end := context.WithCancel(ctx)
	stopped := make(chan error, 1)
	go func() {
		<-ctx.Done() // requests and jobs have the same grace, side by side
		stopped <- work.Stop(c.Grace)
	}()
	defer func() {
		end()
		err = errors.Join(err, <-stopped)
	}()
	configured := api.Config{
		Plans: plans, Registers: registersOf(d.store), Events: eventsOf(d.store), Emergency: emergencyOf(d.store), Forecasts: forecasts, Count: m.Request,
		Webhooks: webhooks, Keys: keysOf(d.store), Witness: &service.Witness{Log: d.store, Clock: time.Now, Signer: signer}, Keyring: d.store, Sessions: d.store, Ping: d.store.Ping,
		Cautions: planner.Cautions, Log: log, SessionSecret: c.SessionSecret, SecureCookies: c.SecureCookies, Limits: &c.Limits, Tokens: c.Tokens,
	}
	if traces != nil { // a nil one in an interface is not nil
		configured.Trace = traces
	}
	a, err := api.New(configured)
	if err != nil {
		return err
	}
	log.Info("serving", "url", "http://"+listener.Addr().String())
	err = api.Serve(ctx, a, listener, c.Unready, c.Grace)
	log.Info("stopped")
	return err
}

// newLog writes what c says: text for people, JSON for what collects logs.
func newLog(w io.Writer, c config) *slog.Logger {
	options := &slog.HandlerOptions{Level: c.LogLevel}
	if c.LogFormat == "json" {
		return slog.New(slog.NewJSONHandler(w, options))
	}
	return slog.New(slog.NewTextHandler(w, options))
}
