// Package metrics counts what an operator watches, in the text format of Prometheus: requests, calculations, the
// database's connections, jobs, webhooks and the log. No label holds anything of an organisation, an id or a name, so
// what is served says nothing about whose vessels these are.
//
// Read New for the list. What happens is counted as it happens, by the wrappers in count.go; what simply is, such as
// the length of a queue, is read when somebody asks, in state.go.
package metrics

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Metrics is all that is counted by a process. It is safe for concurrent use.
type Metrics struct {
	registry *prometheus.Registry

	requests     *prometheus.CounterVec
	requestTime  *prometheus.HistogramVec
	calculations *prometheus.HistogramVec
	jobs         *prometheus.CounterVec
	jobTime      *prometheus.HistogramVec
	deliveries   *prometheus.CounterVec
	deliveryTime prometheus.Histogram
}

// The upper ends of the classes a duration is counted in, s. A request is answered within milliseconds from the store, or
// within the budget of a calculation; a job may plan for a minute.
var (
	requestClasses = []float64{0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10}
	jobClasses     = []float64{0.005, 0.025, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30, 60, 120}
)

// New makes what is counted, and says under which version of the program.
func New(version string) *Metrics {
	m := &Metrics{
		registry: prometheus.NewRegistry(),
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "rideout_requests_total", Help: "Requests answered, by route of the contract and status; 499: the caller had gone.",
		}, []string{"method", "route", "status"}),
		requestTime: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "rideout_request_duration_seconds", Help: "Time from a request's head to the end of its answer.", Buckets: requestClasses,
		}, []string{"method", "route"}),
		calculations: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "rideout_calculation_duration_seconds", Help: "Time of one calculation of a plan, by who asked (request, forecast) and how it went (done, failed).", Buckets: requestClasses,
		}, []string{"for", "outcome"}),
		jobs: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "rideout_jobs_total", Help: "Tries at jobs by this process, by kind and how they went: done, again (it asked for another time), failed, pointless (failed for good).",
		}, []string{"kind", "outcome"}),
		jobTime: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "rideout_job_duration_seconds", Help: "Time of one try at a job.", Buckets: jobClasses,
		}, []string{"kind"}),
		deliveries: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "rideout_webhook_deliveries_total", Help: "Attempts to deliver an event to a webhook, by how they went.",
		}, []string{"outcome"}),
		deliveryTime: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "rideout_webhook_delivery_duration_seconds", Help: "Time a receiver took to answer, or was waited for.", Buckets: requestClasses,
		}),
	}
	build := prometheus.NewGauge(prometheus.GaugeOpts{
		Name: "rideout_build_info", Help: "1, with the version of the computation.", ConstLabels: prometheus.Labels{"engine": version},
	})
	build.Set(1)
	m.registry.MustRegister(
		m.requests, m.requestTime, m.calculations, m.jobs, m.jobTime, m.deliveries, m.deliveryTime, build,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
	)
	return m
}

// scrapesAtOnce bounds what asking for metrics can cost the database.
const scrapesAtOnce = 2

// Handler answers GET /metrics, and nothing else. It asks for no key, so it belongs on a port of its own.
func (m *Metrics) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{
		MaxRequestsInFlight: scrapesAtOnce, ErrorHandling: promhttp.ContinueOnError,
	}))
	return mux
}

// Serve answers on a listener until the context ends. It goes on while requests are drained, so that the end of a
// process is seen too; its caller ends the context when that is done.
func (m *Metrics) Serve(ctx context.Context, listener net.Listener) error {
	server := &http.Server{Handler: m.Handler(), ReadTimeout: 5 * time.Second, WriteTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 8 << 10}
	stop := context.AfterFunc(ctx, func() { _ = server.Close() }) // whoever asks now asks the next process
	defer stop()
	if err := server.Serve(listener); !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("serve metrics: %w", err)
	}
	return nil
}
