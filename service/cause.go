package service

import "context"

type causeKey struct{}

// WithCause says in which trace what follows is done, by the Traceparent of W3C Trace Context. Jobs that are noted and messages
// that are carried take it along; whoever makes traces sets it, and without traces there is none.
func WithCause(ctx context.Context, traceparent string) context.Context {
	return context.WithValue(ctx, causeKey{}, traceparent)
}

// CauseOf gives what WithCause said; empty: nothing.
func CauseOf(ctx context.Context) string {
	cause, _ := ctx.Value(causeKey{}).(string)
	return cause
}
