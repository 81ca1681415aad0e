package metrics

import (
	"context"
	"errors"
	"strconv"
	"time"

	"rideout/service"
	"rideout/service/planner"
)

// Request counts a request that was answered. The route is the contract's, so that nobody makes labels by asking for
// what there is not.
func (m *Metrics) Request(method, route string, status int, took time.Duration) {
	m.requests.WithLabelValues(method, route, strconv.Itoa(status)).Inc()
	m.requestTime.WithLabelValues(method, route).Observe(took.Seconds())
}

// Who asks for a calculation.
const (
	ForRequest  = "request"
	ForForecast = "forecast"
)

// Compute counts the calculations that compute makes, and how long they take.
func (m *Metrics) Compute(who string, compute service.Compute) service.Compute {
	done, failed := m.calculations.WithLabelValues(who, "done"), m.calculations.WithLabelValues(who, "failed")
	return func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		begun := time.Now()
		plan, steps, err := compute(ctx, r)
		if err != nil {
			failed.Observe(time.Since(begun).Seconds())
		} else {
			done.Observe(time.Since(begun).Seconds())
		}
		return plan, steps, err
	}
}

// Workers counts the tries of workers, by kind. All kinds there are stand at 0 from the start, so that a first failure
// is a rise.
func (m *Metrics) Workers(workers service.Workers) service.Workers {
	counted := service.Workers{}
	for kind, w := range workers {
		for _, outcome := range []string{"done", "again", "failed", "pointless"} {
			m.jobs.WithLabelValues(string(kind), outcome)
		}
		do := w.Do
		w.Do = func(ctx context.Context, j service.Job) error {
			begun, outcome := time.Now(), "failed" // also when it panics
			defer func() {
				m.jobs.WithLabelValues(string(kind), outcome).Inc()
				m.jobTime.WithLabelValues(string(kind)).Observe(time.Since(begun).Seconds())
			}()
			err := do(ctx, j)
			outcome = outcomeOf(ctx, err)
			return err
		}
		counted[kind] = w
	}
	return counted
}

func outcomeOf(ctx context.Context, err error) string {
	var again service.Again
	var pointless service.Pointless
	switch {
	case err == nil:
		return "done"
	case errors.As(err, &again), errors.Is(ctx.Err(), context.Canceled): // the process ends, and another takes it up
		return "again"
	case errors.As(err, &pointless):
		return "pointless"
	}
	return "failed"
}

// Courier counts what a courier carries.
func (m *Metrics) Courier(c service.Courier) service.Courier {
	for _, o := range []service.Outcome{
		service.Delivered, service.Refused, service.Redirected, service.Dismissed, service.TimedOut, service.Unreachable, service.Inward,
	} {
		m.deliveries.WithLabelValues(string(o))
	}
	return counted{c, m}
}

type counted struct {
	service.Courier
	m *Metrics
}

// Carry sends a message once.
func (c counted) Carry(ctx context.Context, address string, message service.Message) service.Receipt {
	begun := time.Now()
	receipt := c.Courier.Carry(ctx, address, message)
	c.m.deliveries.WithLabelValues(string(receipt.Outcome)).Inc()
	c.m.deliveryTime.Observe(time.Since(begun).Seconds())
	return receipt
}
