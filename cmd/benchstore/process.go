package main

import (
	"context"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

// memory is in MB.
type memory struct{ client, server, shared float64 }

const selectServer = `
SELECT pg_size_bytes(current_setting('shared_buffers')) / 1e6, array_agg(pid)
FROM pg_stat_activity`

// memoryOf adds up what the processes hold of their own; the server's shared memory counts once.
func memoryOf(ctx context.Context, conn *pgx.Conn) (m memory, err error) {
	var pids []int
	if err := conn.QueryRow(ctx, selectServer).Scan(&m.shared, &pids); err != nil {
		return m, err
	}
	for _, pid := range pids {
		m.server += ownMB(pid)
	}
	m.client = ownMB(os.Getpid())
	return m, nil
}

// ownMB is the memory of a process that is its own and not shared; 0 where the system does not tell.
func ownMB(pid int) float64 {
	text, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(pid), "status"))
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(text)) {
		if rest, ok := strings.CutPrefix(line, "RssAnon:"); ok {
			kB, _ := strconv.ParseFloat(strings.Fields(rest)[0], 64)
			return kB / 1e3
		}
	}
	return 0
}

// used is the time of the processors a program has used.
type used struct{ client, server time.Duration }

const selectServing = `
SELECT array_agg(pid)
FROM pg_stat_activity
WHERE application_name = 'rideout'`

// usedBy adds up this program's and that of the server's processes that serve it. It looks short work up in ticks of a
// hundredth of a second, so it is of use over many questions.
func usedBy(ctx context.Context, conn *pgx.Conn) (u used, err error) {
	var pids []int
	if err := conn.QueryRow(ctx, selectServing).Scan(&pids); err != nil {
		return u, err
	}
	for _, pid := range pids {
		u.server += processorTime(pid)
	}
	var own syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &own); err != nil {
		return u, err
	}
	u.client = time.Duration(own.Utime.Nano() + own.Stime.Nano())
	return u, nil
}

// tick is the unit of /proc's times on every Linux there is.
const tick = 10 * time.Millisecond

// processorTime is what a process has used, itself and for it; 0 where the system does not tell.
func processorTime(pid int) time.Duration {
	text, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(pid), "stat"))
	if err != nil {
		return 0
	}
	fields := strings.Fields(string(text[strings.LastIndexByte(string(text), ')')+1:])) // from the state on, the third
	user, _ := strconv.Atoi(fields[11])
	system, _ := strconv.Atoi(fields[12])
	return time.Duration(user+system) * tick
}
