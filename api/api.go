// Package api is the HTTP API: it decodes requests, calls one use case for each, and answers. It
// alone knows the web framework.
//
// Read routes.go for what is served, plans.go for the handlers, decode.go for how a body is read, and
// problem.go for how errors are answered. The way of a request is observe, code, fail, the key, its limits and
// scope, the parameters, the body, the handler.
package api

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"sync/atomic"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"rideout/api/limit"
	"rideout/api/page"
	"rideout/api/token"
	"rideout/service"
)

// Config is what the API needs. Plans, Registers, Events, Emergency, Forecasts, Keys, Witness, Webhooks, Keyring, Sessions and Ping must be set;
// Log, Clock and NewID have sane defaults.
type Config struct {
	Plans     *service.Plans
	Registers *service.Registers
	Events    *service.Events
	Emergency *service.Emergency
	Webhooks  *service.Webhooks
	Keys      *service.Keys
	Witness   *service.Witness
	Forecasts *service.AreaForecasts
	Keyring   service.Keyring
	Sessions  service.Sessions
	Ping      func(context.Context) error // tells whether the store can be reached
	Cautions  []string                    // shown on the page of the contract
	Log       *slog.Logger
	Clock     func() time.Time
	NewID     func() uuid.UUID // names requests
	Beat      time.Duration    // between the comments of a silent stream; 0: 15 s
	Tokens    *token.Verifier  // of an issuer whose bearer tokens are taken; nil: none are
	Limits    *limit.Config    // requests a minute; nil: limit.Default
	// Count is told of each request when it was answered; nil: nobody counts. The route is one that is served, or NoRoute.
	Count func(method, route string, status int, took time.Duration)
	Trace Tracer // nil: nobody makes traces

	SessionSecret []byte // of the board's sessions, SessionSecretBytes or more, the same for all replicas; nil: chance
	SecureCookies bool   // the browser speaks TLS, though we may not, because something before us ends it
}

// Tracer is told what requests do. *trace.Traces is one.
type Tracer interface {
	// Request begins a request on a route that is served, or NoRoute, and gives its trace's id.
	Request(r *http.Request, method, route string) (ctx context.Context, id string, end func(status int))
	// UseCase begins the use case of a request, by its name in the contract.
	UseCase(ctx context.Context, name string) (_ context.Context, end func(error))
}

// API serves the contract. It is an http.Handler, safe for concurrent use.
type API struct {
	plans        *service.Plans
	registers    *service.Registers
	events       *service.Events
	emergency    *service.Emergency
	webhooks     *service.Webhooks
	witness      *service.Witness
	forecasts    *service.AreaForecasts
	streams      streamCount
	beat         time.Duration
	stopping     chan struct{} // closed when draining begins
	now          func() time.Time
	keys         *service.Keys
	keyring      *keyCache
	tokens       *token.Verifier // nil: no issuer
	limits       *limit.Limiter
	ping         func(context.Context) error
	log          *slog.Logger
	newID        func() uuid.UUID
	echo         *echo.Echo
	contractJSON []byte
	docs         page.Docs
	sessions     *sessions
	ended        service.Sessions
	count        func(method, route string, status int, took time.Duration)
	trace        Tracer
	served       map[string]bool // the router's paths
	zips         zips
	draining     atomic.Bool
	unready      atomic.Bool // what /readyz found last
}

// New makes the API.
func New(cfg Config) (*API, error) {
	switch {
	case cfg.Plans == nil, cfg.Registers == nil, cfg.Events == nil, cfg.Emergency == nil, cfg.Keys == nil, cfg.Forecasts == nil, cfg.Witness == nil, cfg.Webhooks == nil,
		cfg.Keyring == nil, cfg.Sessions == nil, cfg.Ping == nil:
		return nil, errors.New("make the api: plans, registers, events, emergency, forecasts, keys, witness, webhooks, keyring, sessions and ping must be set")
	}
	doc, err := contract()
	if err != nil {
		return nil, err
	}
	a := &API{plans: cfg.Plans, registers: cfg.Registers, ping: cfg.Ping, log: cfg.Log, newID: cfg.NewID, now: cfg.Clock, echo: echo.New(), served: map[string]bool{}}
	a.emergency, a.ended = cfg.Emergency, cfg.Sessions
	a.forecasts, a.witness = cfg.Forecasts, cfg.Witness
	a.events, a.beat, a.stopping = cfg.Events, cfg.Beat, make(chan struct{})
	a.webhooks, a.count, a.trace = cfg.Webhooks, cfg.Count, cfg.Trace
	if a.beat == 0 {
		a.beat = streamBeat
	}
	if a.log == nil {
		a.log = slog.Default()
	}
	if a.newID == nil {
		a.newID = uuid.New
	}
	if a.now == nil {
		a.now = time.Now
	}
	a.keys, a.keyring = cfg.Keys, &keyCache{keyring: cfg.Keyring, now: a.now, log: a.log}
	a.tokens, a.limits = cfg.Tokens, limit.New(or(cfg.Limits, limit.Default))
	if a.contractJSON, err = doc.MarshalJSON(); err != nil {
		return nil, fmt.Errorf("write the contract as JSON: %w", err)
	}
	if a.docs, err = page.NewDocs(doc, cfg.Cautions); err != nil {
		return nil, err
	}
	if a.sessions, err = newSessions(cfg.SessionSecret, cfg.SecureCookies, a.now); err != nil {
		return nil, err
	}
	a.echo.Binder = binder{}
	a.echo.IPExtractor = echo.ExtractIPDirect() // headers about the client's address are not believed
	a.echo.Use(a.observe, a.code, a.fail, rememberAccept)
	return a, a.register(doc)
}

// ServeHTTP serves one request.
func (a *API) ServeHTTP(w http.ResponseWriter, r *http.Request) { a.echo.ServeHTTP(w, r) }

// Routes lists the routes served that are the contract's.
func (a *API) Routes() []Route { return a.routes() }

// Pages lists the pages served.
func (a *API) Pages() []Route { return a.pages() }

// Drain makes /readyz tell that no more requests should be sent here, and ends the streams.
func (a *API) Drain() {
	if !a.draining.Swap(true) {
		close(a.stopping)
	}
}
