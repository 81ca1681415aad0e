package planner

import "context"

type watchKey struct{}

// Watched has Compute tell of its steps: begin is called at the beginning of each with its name, and what it gives at
// the end. What is computed is the same.
func Watched(ctx context.Context, begin func(step string) (end func(error))) context.Context {
	return context.WithValue(ctx, watchKey{}, begin)
}

// watcher gives begin of Watched, or what does nothing.
func watcher(ctx context.Context) func(step string) (end func(error)) {
	if begin, ok := ctx.Value(watchKey{}).(func(string) func(error)); ok {
		return begin
	}
	return func(string) func(error) { return func(error) {} }
}
