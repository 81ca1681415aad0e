package main

import (
	"context"
	"fmt"
	"log/slog"

	"rideout/api/metrics"
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

// count has what the use cases do counted. It comes before any of them is used.
func count(m *metrics.Metrics, s *store.Store, plans *service.Plans, forecasts *service.AreaForecasts, webhooks *service.Webhooks) {
	plans.Compute = m.Compute(metrics.ForRequest, plans.Compute)
	forecasts.Plans.Compute = m.Compute(metrics.ForForecast, forecasts.Plans.Compute)
	webhooks.Courier = m.Courier(webhooks.Courier)
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
