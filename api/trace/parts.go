package trace

import (
	"context"
	"errors"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/codes"
	"go.opentelemetry.io/otel/trace"

	"rideout/service"
	"rideout/service/planner"
)

// Compute has a span for each calculation and for each of its steps.
func (t *Traces) Compute(compute service.Compute) service.Compute {
	if t == nil {
		return compute
	}
	return func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		ctx, end := t.part(ctx, "compute")
		plan, steps, err := compute(planner.Watched(ctx, func(step string) func(error) {
			_, end := t.part(ctx, step)
			return end
		}), r)
		end(err)
		return plan, steps, err
	}
}

// Workers has a span for each try at a job, in a trace of its own, as its request was answered long ago: a link leads
// to that.
func (t *Traces) Workers(workers service.Workers) service.Workers {
	if t == nil {
		return workers
	}
	traced := service.Workers{}
	for kind, w := range workers {
		do := w.Do
		w.Do = func(ctx context.Context, j service.Job) error {
			options := []trace.SpanStartOption{trace.WithNewRoot(), trace.WithSpanKind(trace.SpanKindConsumer)}
			if cause := spanOf(j.Cause); cause.IsValid() {
				options = append(options, trace.WithLinks(trace.Link{SpanContext: cause}))
			}
			ctx, span := t.tracer.Start(ctx, "job "+string(kind), options...)
			defer span.End() // also when it panics
			err := do(handedOn(ctx), j)
			var again service.Again
			if !errors.As(err, &again) { // which is no failure
				fail(span, err)
			}
			return err
		}
		traced[kind] = w
	}
	return traced
}

// Courier has a span for each message, and hands the trace on with it.
func (t *Traces) Courier(c service.Courier) service.Courier {
	if t == nil {
		return c
	}
	return traced{c, t}
}

type traced struct {
	service.Courier
	t *Traces
}

// Carry sends a message once.
func (c traced) Carry(ctx context.Context, address string, message service.Message) service.Receipt {
	ctx, span := c.t.tracer.Start(ctx, "deliver", trace.WithSpanKind(trace.SpanKindClient))
	defer span.End()
	receipt := c.Courier.Carry(handedOn(ctx), address, message)
	span.SetAttributes(attribute.String("rideout.outcome", string(receipt.Outcome)))
	if receipt.Status > 0 {
		span.SetAttributes(attribute.Int("http.response.status_code", receipt.Status))
	}
	if receipt.Outcome != service.Delivered {
		span.SetStatus(codes.Error, "")
	}
	return receipt
}
