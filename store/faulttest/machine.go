package faulttest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"syscall"
	"time"
)

// smallDisk is enough for a new cluster and some minutes of load.
const smallDisk = 200 << 20

// mountSmall mounts a small disk in memory, which root may.
func mountSmall(dir string) (unmount func(), err error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%d,mode=0755", smallDisk)); err != nil {
		return nil, fmt.Errorf("mount a small disk: %w", err)
	}
	return func() { _ = syscall.Unmount(dir, syscall.MNT_DETACH) }, nil
}

// fillDisk fills the disk of the database for a while. Postgres may go on, refuse, or end: where it ended it is started again.
func fillDisk(ctx context.Context, w *World) error {
	sleep(ctx, 2*time.Second)
	filler := filepath.Join(w.postgres.dir, "filler")
	file, err := os.Create(filler)
	if err != nil {
		return err
	}
	defer file.Close()
	piece := make([]byte, 4096)
	until := time.Now().Add(8 * time.Second)
	for time.Now().Before(until) { // what the database frees in between is taken, too
		if _, err := file.Write(piece); errors.Is(err, syscall.ENOSPC) {
			sleep(ctx, 20*time.Millisecond)
		} else if err != nil {
			return err
		}
	}
	if err := os.Remove(filler); err != nil {
		return err
	}
	if err := file.Close(); err != nil {
		return err
	}
	for range 50 {
		if conn, err := w.postgres.connect(ctx); err == nil {
			return conn.Close(ctx)
		}
		sleep(ctx, 100*time.Millisecond)
	}
	w.say("postgres ended on a full disk and is started again")
	return w.postgres.restart(ctx)
}

// within has the service run within so many bytes of memory, by a control group of its own, which root may make.
func (h *house) within(bytes int) (remove func(), err error) {
	group := fmt.Sprintf("/sys/fs/cgroup/memory/rideout-faults-%d", os.Getpid())
	limit := filepath.Join(group, "memory.limit_in_bytes")
	if _, err := os.Stat("/sys/fs/cgroup/cgroup.controllers"); err == nil {
		group = fmt.Sprintf("/sys/fs/cgroup/rideout-faults-%d", os.Getpid())
		limit = filepath.Join(group, "memory.max")
	}
	if err := os.Mkdir(group, 0o755); err != nil && !errors.Is(err, os.ErrExist) {
		return nil, fmt.Errorf("limit memory: %w", err)
	}
	if err := os.WriteFile(limit, []byte(strconv.Itoa(bytes)), 0o644); err != nil {
		return nil, fmt.Errorf("limit memory: %w", err)
	}
	h.prefix = []string{"/bin/sh", "-c", `echo $$ > "$0/cgroup.procs" && exec "$@"`, group}
	return func() { _ = os.Remove(group) }, nil // which works once nobody is in it
}

// squeeze starts the service anew within little memory.
func squeeze(bytes int) func(context.Context, *World) error {
	return func(ctx context.Context, w *World) error {
		w.house.kill() // nobody is in the group when its limit is set
		remove, err := w.house.within(bytes)
		if err != nil {
			return err
		}
		w.later = append(w.later, remove)
		return w.house.start(ctx)
	}
}

// Where the two clocks stand: of the service, and of the database's machine.
const (
	clockFile         = "clock"
	databaseClockFile = "database-clock"
)

// jumps are of the service's clock back and forth, then of the database's, then of both.
var jumps = []struct{ service, database time.Duration }{
	{time.Hour, 0}, {-2 * time.Hour, 0}, {-48 * time.Hour, 0}, {0, time.Hour}, {0, -2 * time.Hour}, {0, -48 * time.Hour}, {30 * time.Minute, -time.Hour}, {-time.Hour, 30 * time.Minute}, {},
}

// jump sets the clocks. The binary reads its clock from a file (see
// clockHandle): a static Go program asks the kernel itself, and no library can come between.
func jump(jumps []struct{ service, database time.Duration }) func(context.Context, *World) error {
	return func(ctx context.Context, w *World) error {
		for _, by := range jumps {
			err := errors.Join(
				os.WriteFile(filepath.Join(w.dir, clockFile), []byte(by.service.String()), 0o644),
				os.WriteFile(filepath.Join(w.dir, databaseClockFile), []byte(fmt.Sprintf("%+d", int(by.database.Seconds()))), 0o644))
			if err != nil {
				return err
			}
			sleep(ctx, 1500*time.Millisecond)
		}
		return nil
	}
}

// fakeClock has servers started from here on take the time by libfaketime, as a file in dir says. The private Postgres
// gives its server an environment of its own, so a script stands in its place.
func fakeClock(dir string) (restore func(), err error) {
	libraries, _ := filepath.Glob("/usr/lib/*/faketime/libfaketime.so.1") // fails on a bad pattern alone
	servers, _ := filepath.Glob("/usr/lib/postgresql/*/bin")
	if len(libraries) == 0 || len(servers) == 0 {
		return nil, errors.New("there is no libfaketime, or no Postgres where Debian has it: apt-get install faketime postgresql")
	}
	real, bin, file := servers[len(servers)-1], filepath.Join(dir, "bin"), filepath.Join(dir, databaseClockFile)
	if err := errors.Join(os.Mkdir(bin, 0o755), os.Symlink(filepath.Join(real, "initdb"), filepath.Join(bin, "initdb")), os.WriteFile(file, []byte("+0"), 0o644)); err != nil {
		return nil, err
	}
	// What waits by the clock that only runs forward goes on doing so.
	script := fmt.Sprintf("#!/bin/sh\nexport LD_PRELOAD=%s FAKETIME_TIMESTAMP_FILE=%s FAKETIME_NO_CACHE=1 FAKETIME_DONT_FAKE_MONOTONIC=1 FAKETIME_DISABLE_SHM=1\nexec %s/postgres \"$@\"\n",
		libraries[0], file, real)
	if err := os.WriteFile(filepath.Join(bin, "postgres"), []byte(script), 0o755); err != nil {
		return nil, err
	}
	before := os.Getenv("PG_BINDIR")
	return func() { os.Setenv("PG_BINDIR", before) }, os.Setenv("PG_BINDIR", bin)
}

// clockHandle has the service ask a clock of ours.
var clockHandle = []Swap{
	{"cmd/rideout/house.go", "Clock: time.Now", "Clock: faultClock"},
	{"cmd/rideout/house.go", "Cautions: planner.Cautions,", "Cautions: planner.Cautions, Clock: faultClock,"},
	{"cmd/rideout/house.go", "// newID gives", `func faultClock() time.Time {
	text, _ := os.ReadFile(os.Getenv("RIDEOUT_FAULT_DIR") + "/clock")
	by, _ := time.ParseDuration(string(text))
	return time.Now().Add(by)
}

// newID gives`},
	{"cmd/rideout/house.go", "\t\"net\"\n", "\t\"net\"\n\t\"os\"\n"},
}

// engineHandle has every third calculation panic and every third give what is no number.
var engineHandle = []Swap{
	{"cmd/rideout/house.go", "Compute: planner.Compute", "Compute: faultCompute"},
	{"cmd/rideout/house.go", "// newID gives", `var faultCount atomic.Int64

func faultCompute(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
	plan, steps, err := planner.Compute(ctx, r)
	switch faultCount.Add(1) % 3 {
	case 0:
		panic("index out of range")
	case 1:
		plan.Loads.PeakN.Mid = math.NaN()
	}
	return plan, steps, err
}

// newID gives`},
	{"cmd/rideout/house.go", "\t\"net\"\n", "\t\"math\"\n\t\"net\"\n\t\"sync/atomic\"\n"},
}

// standbyTakesOver adds a standby that confirms each commit, kills the server and has the standby serve. With the control's bug
// it confirms nothing, and has not got what was committed of late.
func standbyTakesOver(ctx context.Context, w *World) error {
	dir := filepath.Join(w.dir, "standby")
	if err := w.postgres.copyTo(ctx, dir); err != nil {
		return err
	}
	standby, err := startPostgres(ctx, dir)
	if err != nil {
		return err
	}
	primary := w.postgres
	w.later = append(w.later, primary.stop)
	if !w.behind {
		if err := primary.exec(ctx, `ALTER SYSTEM SET synchronous_standby_names = '*'`, `SELECT pg_reload_conf()`); err != nil {
			return err
		}
	}
	sleep(ctx, 3*time.Second)
	if w.behind {
		if err := standby.pause(); err != nil {
			return err
		}
		defer standby.resume()
		sleep(ctx, 2*time.Second)
	}
	err = w.down(func() error {
		if err := primary.kill(); err != nil {
			return err
		}
		w.line.reset()
		if w.behind {
			standby.resume()
		}
		w.postgres = standby
		w.line.retarget(standby.address)
		sleep(ctx, 4*time.Second) // a standby that is asked to change something
		return nil
	})
	return errors.Join(err, standby.exec(ctx, `ALTER SYSTEM SET synchronous_standby_names = ''`, `SELECT pg_reload_conf()`, `SELECT pg_promote()`))
}

// pause stops all that the server has started, so that it receives nothing.
func (p *postgres) pause() error {
	pids, err := p.processes()
	if err != nil {
		return err
	}
	for _, pid := range pids[1:] {
		_ = syscall.Kill(pid, syscall.SIGSTOP) // it may have ended
	}
	return nil
}

// resume undoes pause.
func (p *postgres) resume() {
	pids, _ := p.processes() // of a server that ended there are none
	for _, pid := range pids {
		_ = syscall.Kill(pid, syscall.SIGCONT)
	}
}

// copyTo makes a standby's data of a running server.
func (p *postgres) copyTo(ctx context.Context, dir string) error {
	if err := os.Mkdir(dir, 0o755); err != nil {
		return err
	}
	cluster := filepath.Join(dir, "postgres")
	words := []string{"pg_basebackup", "--pgdata", cluster, "--dbname", p.url(), "--write-recovery-conf", "--wal-method", "stream", "--checkpoint", "fast"}
	if found, _ := filepath.Glob("/usr/lib/postgresql/*/bin/pg_basebackup"); len(found) > 0 {
		words[0] = found[len(found)-1]
	}
	if out, err := exec.CommandContext(ctx, words[0], words[1:]...).CombinedOutput(); err != nil {
		return fmt.Errorf("copy the cluster: %w: %s", err, out)
	}
	owner, err := os.Stat(filepath.Join(p.dir, "postgres"))
	if err != nil {
		return err
	}
	stat := owner.Sys().(*syscall.Stat_t)
	return filepath.WalkDir(cluster, func(path string, _ os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		return os.Lchown(path, int(stat.Uid), int(stat.Gid))
	})
}
