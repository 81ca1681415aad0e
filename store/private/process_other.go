//go:build unix && !linux

package private

import (
	"context"
	"syscall"
)

// Only Linux tells a child that its parent has ended, and shows where a process works. Elsewhere a
// server that outlived its parent is left to Postgres itself, whose postmaster.pid keeps a second
// one off the cluster.
func dieWithParent(*syscall.SysProcAttr) {}

func occupants(string) []int { return nil }

func vacate(context.Context, string) error { return nil }
