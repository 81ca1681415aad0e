package private

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// dieWithParent has the kernel ask for a fast shutdown when we end, even by SIGKILL.
func dieWithParent(attr *syscall.SysProcAttr) { attr.Pdeathsig = syscall.SIGINT }

// occupants are the processes of postgres that work in a cluster: each has it as its working
// directory. The number in postmaster.pid alone may by now be another program's.
func occupants(cluster string) []int {
	cluster, err := filepath.EvalSymlinks(cluster)
	if err != nil {
		return nil // there is none
	}
	links, _ := filepath.Glob("/proc/[0-9]*/cwd") // fails on a bad pattern alone
	var pids []int
	for _, link := range links {
		// Another user's processes cannot be read, and cannot be in our cluster.
		if cwd, err := os.Readlink(link); err != nil || cwd != cluster {
			continue
		}
		exe, err := os.Readlink(filepath.Join(filepath.Dir(link), "exe"))
		pid, err2 := strconv.Atoi(filepath.Base(filepath.Dir(link)))
		if err == nil && err2 == nil && strings.HasPrefix(filepath.Base(exe), "postgres") {
			pids = append(pids, pid)
		}
	}
	return pids
}

// vacate waits until a server that outlived the process it belonged to has left the cluster, and
// removes the note it may have left. The caller holds the data directory's lock, so the server is nobody's.
func vacate(ctx context.Context, cluster string) error {
	ctx, cancel := context.WithTimeout(ctx, stopLimit)
	defer cancel()
	for {
		pids := occupants(cluster)
		if len(pids) == 0 {
			break
		}
		for _, pid := range pids {
			if isPostmaster(pid, cluster) {
				// Fast shutdown; it may be on its way already. No error that matters: it may have ended.
				_ = syscall.Kill(pid, syscall.SIGINT)
			}
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("processes %v of an earlier run do not leave %s: %w", pids, cluster, ctx.Err())
		case <-time.After(50 * time.Millisecond):
		}
	}
	// Postgres would believe a number that is now some other process of the same account.
	if err := os.Remove(filepath.Join(cluster, "postmaster.pid")); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// isPostmaster tells whether a process is the one postmaster.pid names in its first line.
func isPostmaster(pid int, cluster string) bool {
	note, err := os.ReadFile(filepath.Join(cluster, "postmaster.pid"))
	first, _, _ := strings.Cut(string(note), "\n")
	return err == nil && strings.TrimSpace(first) == strconv.Itoa(pid)
}
