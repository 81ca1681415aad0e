// Package trace tells a collector of OpenTelemetry what a request did and how long each part took: the use case, the
// steps of a calculation, the statements, the jobs noted for later and what webhooks were sent. Spans have names, kinds,
// statuses and codes; nothing of a body, a key, a header, a path with its ids, a statement's values or an error's words.
//
// Read Open for how spans leave the process; parts.go wraps what service takes, statements.go is for pgx. Where it is
// not asked for there is no Traces, and nothing is wrapped.
package trace

import (
	"context"
	"errors"
	"fmt"
	"net/http"

	"go.opentelemetry.io/otel"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/codes"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracehttp"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/sdk/resource"
	sdk "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/trace"

	"rideout/service"
)

// Traces makes spans. It is safe for concurrent use. A nil one gives back what it is to wrap.
type Traces struct {
	provider *sdk.TracerProvider
	tracer   trace.Tracer
}

// Open sends spans to a collector that takes OTLP over HTTP. Headers, certificates, sampling, batches and the resource are
// read from the standard variables of the environment. A collector that is away costs spans and nothing else: failed is told.
func Open(ctx context.Context, url string, failed func(error)) (*Traces, error) {
	exporter, err := otlptracehttp.New(ctx, otlptracehttp.WithEndpointURL(url))
	if err != nil {
		return nil, fmt.Errorf("open traces: %w", err)
	}
	// What is set outside comes last, so that it prevails.
	about, err := resource.New(ctx, resource.WithAttributes(attribute.String("service.name", "rideout")), resource.WithTelemetrySDK(), resource.WithFromEnv())
	if err != nil {
		return nil, fmt.Errorf("open traces: %w", err)
	}
	otel.SetErrorHandler(otel.ErrorHandlerFunc(failed))
	return New(sdk.WithBatcher(exporter), sdk.WithResource(about)), nil
}

// New makes traces that go where the options say.
func New(options ...sdk.TracerProviderOption) *Traces {
	provider := sdk.NewTracerProvider(options...)
	return &Traces{provider: provider, tracer: provider.Tracer("rideout")}
}

// Close sends what is left, as long as the context lasts.
func (t *Traces) Close(ctx context.Context) error {
	if t == nil {
		return nil
	}
	if err := t.provider.Shutdown(ctx); err != nil {
		return fmt.Errorf("close traces: %w", err)
	}
	return nil
}

// Request begins the span of a request, within its caller's trace if it names one. Of what the caller says of it only
// Traceparent is taken: Tracestate and Baggage have words in them.
func (t *Traces) Request(r *http.Request, method, route string) (_ context.Context, id string, end func(status int)) {
	ctx := propagation.TraceContext{}.Extract(r.Context(), propagation.MapCarrier{traceparent: r.Header.Get(traceparent)})
	ctx, span := t.tracer.Start(ctx, method+" "+route, trace.WithSpanKind(trace.SpanKindServer),
		trace.WithAttributes(attribute.String("http.request.method", method), attribute.String("http.route", route)))
	return handedOn(ctx), span.SpanContext().TraceID().String(), func(status int) {
		span.SetAttributes(attribute.Int("http.response.status_code", status))
		if status >= http.StatusInternalServerError {
			span.SetStatus(codes.Error, "")
		}
		span.End()
	}
}

// UseCase begins the span of a use case, by the name the contract has for it.
func (t *Traces) UseCase(ctx context.Context, name string) (_ context.Context, end func(error)) {
	return t.part(ctx, name)
}

// part begins a span within another.
func (t *Traces) part(ctx context.Context, name string, options ...trace.SpanStartOption) (context.Context, func(error)) {
	ctx, span := t.tracer.Start(ctx, name, options...)
	return ctx, func(err error) {
		fail(span, err)
		span.End()
	}
}

// fail tells of an error by its kind: its words may be somebody's.
func fail(span trace.Span, err error) {
	if err == nil {
		return
	}
	kind := "failed"
	var known *service.Error
	switch {
	case errors.As(err, &known):
		kind = string(known.Kind)
	case errors.Is(err, context.Canceled):
		kind = "canceled"
	case errors.Is(err, context.DeadlineExceeded):
		kind = "timeout"
	}
	span.SetAttributes(attribute.String("error.type", kind))
	span.SetStatus(codes.Error, "")
}

const traceparent = "traceparent"

// handedOn has what follows told of the span in a context, jobs and messages too.
func handedOn(ctx context.Context) context.Context {
	carrier := propagation.MapCarrier{}
	propagation.TraceContext{}.Inject(ctx, carrier)
	return service.WithCause(ctx, carrier[traceparent])
}

// spanOf gives the span that a cause names.
func spanOf(cause string) trace.SpanContext {
	return trace.SpanContextFromContext(propagation.TraceContext{}.Extract(context.Background(), propagation.MapCarrier{traceparent: cause}))
}
