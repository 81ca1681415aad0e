package metrics

import (
	"context"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// Places are those for calculations.
type Places struct {
	Running, Waiting int
	Refused          int64 // since the start, because none was free
}

// Connections are those to the database.
type Connections struct {
	InUse, Idle, Most int
	Waited            int64         // how often one was waited for, since the start
	WaitedFor         time.Duration // and how long in all
}

// Queue is how many jobs of a kind stand in a state.
type Queue struct {
	Kind, State string
	Jobs        int64
	Oldest      time.Duration // how long the one that waits longest could have been done
}

// State tells what is now. All must be set.
type State struct {
	Places      func() Places
	Connections func() Connections
	Queues      func(context.Context) ([]Queue, error)
	LogEntries  func(context.Context) (float64, error)
}

// askLimit is for the two that ask the database. When they fail their figures are missing and rideout_up is 0.
const askLimit = 2 * time.Second

// Watch reads a state whenever somebody asks for the metrics. It may be called once.
func (m *Metrics) Watch(s State) { m.registry.MustRegister(watcher{s}) }

type watcher struct{ state State }

func gaugeOf(name, words string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc(name, words, labels, nil)
}

var (
	upDesc        = gaugeOf("rideout_up", "1 when the database answered the questions of these metrics, else 0.")
	runningDesc   = gaugeOf("rideout_calculations_running", "Calculations asked for by requests that are at work.")
	waitingDesc   = gaugeOf("rideout_calculations_waiting", "Calculations asked for by requests that wait for a place.")
	refusedDesc   = gaugeOf("rideout_calculations_refused_total", "Calculations refused because no place was free.")
	connDesc      = gaugeOf("rideout_database_connections", "Connections of the pool, by state (in_use, idle).", "state")
	mostConnDesc  = gaugeOf("rideout_database_connections_most", "Connections the pool may have.")
	waitedDesc    = gaugeOf("rideout_database_waits_total", "How often a request waited for a connection.")
	waitedForDesc = gaugeOf("rideout_database_wait_seconds_total", "How long requests waited for a connection, in all.")
	queueDesc     = gaugeOf("rideout_jobs", "Jobs in the queue that all processes share, by kind and state.", "kind", "state")
	oldestDesc    = gaugeOf("rideout_jobs_oldest_seconds", "How long the job that waits longest could have been done, by kind.", "kind")
	entriesDesc   = gaugeOf("rideout_log_entries", "Entries of all organisations' logs, as the database's statistics have it: an estimate.")
)

// Describe names the metrics, for Prometheus's registry.
func (w watcher) Describe(out chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{
		upDesc, runningDesc, waitingDesc, refusedDesc, connDesc, mostConnDesc, waitedDesc, waitedForDesc, queueDesc, oldestDesc, entriesDesc,
	} {
		out <- d
	}
}

// Collect reads the state.
func (w watcher) Collect(out chan<- prometheus.Metric) {
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		out <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	counter := func(d *prometheus.Desc, v float64) {
		out <- prometheus.MustNewConstMetric(d, prometheus.CounterValue, v)
	}
	places, connections := w.state.Places(), w.state.Connections()
	gauge(runningDesc, float64(places.Running))
	gauge(waitingDesc, float64(places.Waiting))
	counter(refusedDesc, float64(places.Refused))
	gauge(connDesc, float64(connections.InUse), "in_use")
	gauge(connDesc, float64(connections.Idle), "idle")
	gauge(mostConnDesc, float64(connections.Most))
	counter(waitedDesc, float64(connections.Waited))
	counter(waitedForDesc, connections.WaitedFor.Seconds())

	ctx, cancel := context.WithTimeout(context.Background(), askLimit)
	defer cancel()
	queues, err := w.state.Queues(ctx)
	for _, q := range queues {
		gauge(queueDesc, float64(q.Jobs), q.Kind, q.State)
		if q.State == "available" {
			gauge(oldestDesc, q.Oldest.Seconds(), q.Kind)
		}
	}
	entries, errEntries := w.state.LogEntries(ctx)
	if errEntries == nil {
		gauge(entriesDesc, entries)
	}
	up := 1.0
	if err != nil || errEntries != nil {
		up = 0
	}
	gauge(upDesc, up)
}
