package main

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"rideout/api/metrics"
	"rideout/api/trace"
	"rideout/service"
	"rideout/store"
)

// serveMetrics serves what is counted on a port of its own, if there is to be one. It goes on while requests are drained:
// stop it after that.
func serveMetrics(ctx context.Context, c config, m *metrics.Metrics, log *slog.Logger) (stop func() error, err error) {
	if c.MetricsAddr == "" {
		return func() error { return nil }, nil
	}
	listener, err := listen(ctx, c.MetricsAddr)
	if err != nil {
		return nil, fmt.Errorf("RIDEOUT_METRICS_ADDR: %w", err)
	}
	ctx, end := context.WithCancel(context.WithoutCancel(ctx))
	ended := make(chan error, 1)
	go func() { ended <- m.Serve(ctx, listener) }()
	log.Info("serving metrics", "metrics_url", "http://"+listener.Addr().String()+"/metrics")
	return func() error { end(); return <-ended }, nil
}

// closeLimit is how long the end waits for a collector of traces.
const closeLimit = 5 * time.Second

// openTraces begins to send traces, where that is asked for; else there are none.
func openTraces(ctx context.Context, c config, log *slog.Logger) (t *trace.Traces, end func(), err error) {
	if c.Traces == "" {
		return nil, func() {}, nil
	}
	if t, err = trace.Open(ctx, c.Traces, func(err error) { log.Warn("traces", "error", err) }); err != nil {
		return nil, nil, err
	}
	return t, func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), closeLimit)
		defer cancel()
		if err := t.Close(ctx); err != nil { // of no account to who was served
			log.Warn("traces", "error", err)
		}
	}, nil
}

// watch has what the use cases do counted and traced. It comes before any of them is used.
func watch(m *metrics.Metrics, t *trace.Traces, s *store.Store, plans *service.Plans, forecasts *service.AreaForecasts, webhooks *service.Webhooks) {
	plans.Compute = m.Compute(metrics.ForRequest, t.Compute(plans.Compute))
	forecasts.Plans.Compute = m.Compute(metrics.ForForecast, t.Compute(forecasts.Plans.Compute))
	webhooks.Courier = m.Courier(t.Courier(webhooks.Courier))
	m.Watch(metrics.State{
		Places: func() metrics.Places {
			running, waiting, refused := plans.Places()
			return metrics.Places{Running: running, Waiting: waiting, Refused: refused}
		},
		Connections: func() metrics.Connections { return metrics.Connections(s.Connections()) },
		Queues: func(ctx context.Context) (queues []metrics.Queue, err error) {
			kept, err := s.Queues(ctx)
			for _, q := range kept {
				queues = append(queues, metrics.Queue(q))
			}
			return queues, err
		},
		LogEntries: s.LogEntries,
	})
}
