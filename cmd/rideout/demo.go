package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"time"

	"rideout/api/metrics"
	"rideout/service"
	"rideout/service/planner"
)

// demoBudget is for each plan of the scenario: the first start may be on a slow and busy machine.
const demoBudget = time.Minute

// demoPatience is for a calculation that is asked for on that machine.
const demoPatience = 15 * time.Second

// demoReady is what a demo tells its caller once it serves.
type demoReady struct {
	URL     string       `json:"url"`
	Key     string       `json:"key"`
	Vessels []demoVessel `json:"vessels"`
	logKey  string       // its file
}

// demonstrate serves the invented fleet from a private Postgres of its own, whatever DATABASE_URL says.
// The store keeps no key, only hashes, so each start makes a new one; those of earlier starts go on
// working.
func demonstrate(ctx context.Context, p program, args []string) (err error) {
	c, err := configure(p, "demo")
	if err != nil {
		return err
	}
	flags := newFlags("demo")
	asJSON := flags.Bool("json", false, "print one JSON object with url, key and vessels as the first line, once it serves")
	flags.StringVar(&c.Addr, "addr", c.Addr, "serve on this `host:port`; port 0 takes a free one")
	flags.StringVar(&c.DataDir, "data-dir", c.DataDir, "keep the demo in this `directory`")
	if err := parse(p, flags, args); err != nil {
		return err
	}
	if err := c.check(); err != nil {
		return err
	}
	c.DatabaseURL, c.MetricsAddr = "", ""
	if p.getenv("RIDEOUT_BUDGET") == "" {
		c.Budget = demoPatience
	}
	if p.getenv("RIDEOUT_LOG_LEVEL") == "" {
		c.LogLevel = slog.LevelWarn // what a person reads is not to drown
	}
	log := newLog(p.stderr, c)
	listener, err := listen(ctx, c.Addr)
	if err != nil {
		return err
	}
	defer listener.Close()
	d, err := openDatabase(ctx, c, log, nil)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.close()) }()
	ready, err := prepare(ctx, p, d)
	if err != nil {
		return err
	}
	ready.URL, ready.logKey = addressOf(listener), c.logKeyFile()
	if err := ready.tell(p, *asJSON); err != nil {
		return err
	}
	return serveAPI(ctx, c, d, metrics.New(planner.Engine), nil, listener, log)
}

// prepare makes the organisation, its past, and a key. The key comes last, because it is of today.
func prepare(ctx context.Context, p program, d database) (demoReady, error) {
	organisation, wanted, err := readScenario()
	if err != nil {
		return demoReady{}, err
	}
	history, err := readHistory()
	if err != nil {
		return demoReady{}, err
	}
	acts, ids, err := actsOf(history, wanted, time.Now())
	if err != nil {
		return demoReady{}, err
	}
	org, err := d.store.AddOrganisation(ctx, organisation)
	if err != nil {
		return demoReady{}, err
	}
	h := newHistorian(org, registersOf(d.store), plansOf(d.store, demoBudget))
	if err := h.catchUp(ctx, acts, func(text string) { fmt.Fprintln(p.stderr, text) }); err != nil {
		return demoReady{}, err
	}
	_, key, err := newKey(ctx, d.store, organisation, service.KeyDraft{Label: "demo", Scopes: service.EverydayScopes()})
	return demoReady{Key: key.Reveal(), Vessels: vesselsOf(wanted, ids)}, err
}

// tell is called when the port is open: a request that comes at once waits and is answered.
func (r demoReady) tell(p program, asJSON bool) error {
	if asJSON {
		return json.NewEncoder(p.stdout).Encode(r)
	}
	fmt.Fprintf(p.stdout, "The demo is served at %s (the contract: %[1]s/docs). Ctrl-C ends it; its plans are kept.\nThe fleet board is at %[1]s/board; sign in with the key %[2]s\n\n", r.URL, r.Key)
	for _, v := range r.Vessels {
		for _, id := range v.PlanIDs {
			fmt.Fprintf(p.stdout, "  %-21s %s/v1/plans/%s\n", v.Name, r.URL, id)
		}
	}
	fmt.Fprintf(p.stdout, `
For the examples of %[1]s/docs, and for rideout as a client:

  export RIDEOUT_URL=%[1]s RIDEOUT_SERVER=%[1]s RIDEOUT_KEY=%[2]s
  bin/rideout readiness
  bin/rideout sheet --vessel %[3]s

Its log, verified, and an audit that is verified without the service:

  bin/rideout log-key --file %[4]s > log.pub
  bin/rideout verify --key log.pub
  bin/rideout export --what audit --out audit.csv --manifest manifest.json
  bin/rideout verify --manifest manifest.json --key log.pub
`, r.URL, r.Key, quote(r.Vessels[0].Name), quote(r.logKey))
	_, err := fmt.Fprintf(p.stdout, `
Read a plan:

  curl -s %[1]s/v1/plans/%[3]s \
    -H 'Authorization: Bearer %[2]s'

Her storm plan in short, and where she would be (within her forecast):

  curl -s -H 'Accept: text/plain' %[1]s/v1/vessels/%[4]s/storm-plan \
    -H 'Authorization: Bearer %[2]s'
  curl -s '%[1]s/v1/vessels/%[4]s/drift?at=2026-01-13T06:00:00Z' \
    -H 'Authorization: Bearer %[2]s'

Whether the fleet was ready on a stormy evening, by what was known then; today; and what its outcomes teach:

  %[1]s/board?valid_at=2026-01-12T22:00&known_at=2026-01-12T22:00
  curl -s '%[1]s/v1/readiness?valid_at=2026-01-12T22:00:00Z&known_at=2026-01-12T22:00:00Z' \
    -H 'Authorization: Bearer %[2]s'
  curl -s %[1]s/v1/readiness -H 'Authorization: Bearer %[2]s'
  curl -s %[1]s/v1/calibration -H 'Authorization: Bearer %[2]s'

Three were at sea that evening. A forecast for their area has them planned anew; read it again at the answer's links.self:

  curl -s %[1]s/v1/forecasts \
    -H 'Authorization: Bearer %[2]s' \
    -H 'Content-Type: application/json' -H "Idempotency-Key: $(date +%%s)" -d @testdata/golden/requests/area_forecast.json

Make a plan, for a vessel without gear in a gale:

  curl -s %[1]s/v1/plans \
    -H 'Authorization: Bearer %[2]s' \
    -H 'Content-Type: application/json' -H "Idempotency-Key: $(date +%%s)" -d '{
      "vessel": {"name": "My boat", "hull": "sail_monohull", "loa_m": 10, "beam_m": 3.2, "draught_m": 1.7, "displacement_kg": 5500},
      "intent": "ride_out_storm",
      "forecast": {"issued_at": "2026-10-03T06:00:00Z", "source": "radio", "steps": [
        {"time": "2026-10-03T12:00:00Z", "wind_speed_kt": 38, "significant_wave_height_m": 5, "peak_period_s": 9.5}]}}'
`, r.URL, r.Key, r.Vessels[0].PlanIDs[0], r.Vessels[0].ID)
	return err
}

// addressOf gives an address a client on this machine can use.
func addressOf(listener net.Listener) string {
	host, port, err := net.SplitHostPort(listener.Addr().String())
	if ip := net.ParseIP(host); err == nil && ip.IsUnspecified() {
		host = "127.0.0.1"
	}
	return "http://" + net.JoinHostPort(host, port)
}
