package main

import (
	"context"
	"fmt"
	"runtime/debug"

	"rideout/service/planner"
)

// version prints what the binary was built from, and the version of the computation.
func version(_ context.Context, p program, _ []string) error {
	built := "unknown"
	if info, ok := debug.ReadBuildInfo(); ok {
		built = info.Main.Version + ", " + info.GoVersion
	}
	_, err := fmt.Fprintf(p.stdout, "rideout %s, engine %s\n", built, planner.Engine)
	return err
}
