package api_test

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"testing"

	sdk "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"

	"rideout/api"
	"rideout/api/trace"
)

// What traces cost a request that reads a plan from memory: off, as it is without a collector; not sampled; and sampled.
func BenchmarkTraces(b *testing.B) {
	sampled := func(s sdk.Sampler) api.Tracer {
		return trace.New(sdk.WithBatcher(tracetest.NewNoopExporter()), sdk.WithSampler(s))
	}
	for _, c := range []struct {
		name   string
		tracer api.Tracer
	}{{"off", nil}, {"unsampled", sampled(sdk.NeverSample())}, {"sampled", sampled(sdk.AlwaysSample())}} {
		b.Run(c.name, func(b *testing.B) {
			w := newWorldWith(b, func(config *api.Config) {
				config.Trace, config.Log = c.tracer, slog.New(slog.NewTextHandler(io.Discard, nil))
			})
			r := w.request(http.MethodGet, w.create("k"), "").WithContext(context.Background())
			b.ReportAllocs()
			for b.Loop() {
				w.api.ServeHTTP(httptest.NewRecorder(), r)
			}
		})
	}
}
