package jobs

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"

	"rideout/service"
)

// Config says who does the jobs. The zero value of all but Workers and Log is a default.
type Config struct {
	Workers service.Workers
	Log     *slog.Logger
	// Lost is how long a job may be at work, beyond its own limit, before it is taken for that of a process which was killed; 0: 5 min.
	Lost time.Duration
	// Eager begins without the random pauses that keep processes apart which were started together.
	Eager bool
}

const (
	// idleQueue is there because river wants one where there are no workers; nothing is put into it.
	idleQueue     = "idle"
	defaultAtOnce = 4
	defaultLimit  = time.Minute
	defaultLost   = 5 * time.Minute
	longestPause  = time.Hour
	// haltLimit is how long what was told to stop at once may take.
	haltLimit = 5 * time.Second
)

// errFailed is all the queue is told of a failure: its reason may hold what is not to lie there.
var errFailed = errors.New("failed: the log says why")

// Runner has jobs done until it is stopped.
type Runner struct{ client *river.Client[pgx.Tx] }

// Start begins to do jobs on a pool, which it needs for itself: one connection listens all the time.
func Start(ctx context.Context, pool *pgxpool.Pool, c Config) (*Runner, error) {
	workers, queues := river.NewWorkers(), map[string]river.QueueConfig{idleQueue: {MaxWorkers: 1}}
	for kind, does := range c.Workers {
		queues[string(kind)] = river.QueueConfig{MaxWorkers: orDefault(does.AtOnce, defaultAtOnce)}
	}
	lost := orDefault(c.Lost, defaultLost)
	river.AddWorker(workers, &worker{workers: c.Workers, log: c.Log})
	client, err := river.NewClient(riverpgxv5.New(pool), &river.Config{
		Queues:               queues,
		Workers:              workers,
		Logger:               slog.New(warnings{c.Log.Handler()}),
		JobTimeout:           min(defaultLimit, lost/2), // what is longer says so by its own limit
		RescueStuckJobsAfter: lost,
		// Only the owner of an index may build it anew, and the service is not.
		ReindexerIndexNames: []string{},
		TestOnly:            c.Eager,
	})
	if err != nil {
		return nil, fmt.Errorf("start jobs: %w", err)
	}
	// Stop ends it and not the caller's context, which would end the jobs at work at once.
	if err := client.Start(context.WithoutCancel(ctx)); err != nil {
		return nil, fmt.Errorf("start jobs: %w", err)
	}
	return &Runner{client}, nil
}

// Stop takes no more jobs and lets those at work finish for grace; then their contexts end. What does not end then is
// done again by whoever finds it.
func (r *Runner) Stop(grace time.Duration) error {
	ctx, cancel := context.WithTimeout(context.Background(), grace)
	defer cancel()
	err := r.client.Stop(ctx)
	if !errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	halt, cancel := context.WithTimeout(context.Background(), haltLimit)
	defer cancel()
	if err := r.client.StopAndCancel(halt); err != nil {
		return fmt.Errorf("stop jobs: %w", err)
	}
	return nil
}

// worker hands river's jobs to ours.
type worker struct {
	river.WorkerDefaults[args]
	workers service.Workers
	log     *slog.Logger
}

// Timeout is the limit of one try.
func (w *worker) Timeout(j *river.Job[args]) time.Duration { return w.workers[j.Args.Do].Limit }

// NextRetry is when a job that failed is done again.
func (w *worker) NextRetry(j *river.Job[args]) time.Time {
	pause := defaultPause
	if own := w.workers[j.Args.Do].Pause; own != nil {
		pause = own
	}
	return time.Now().Add(pause(j.Attempt))
}

// Work does a job, and tells the queue no more of a failure than that there was one.
func (w *worker) Work(ctx context.Context, j *river.Job[args]) error {
	err := w.do(ctx, jobOf(j))
	var again service.Again
	var pointless service.Pointless
	switch {
	case err == nil:
		return nil
	case errors.As(err, &again):
		return river.JobSnooze(max(again.After, 0))
	case errors.Is(ctx.Err(), context.Canceled):
		return ctx.Err() // the process ends: no failure, and river gives the job to whoever is there
	}
	w.log.Warn("job failed", "job", j.Args.Do, "job_id", j.ID, "org_id", j.Args.Org, "attempt", j.Attempt, "error", err)
	if errors.As(err, &pointless) {
		return river.JobCancel(errFailed)
	}
	return errFailed
}

func (w *worker) do(ctx context.Context, j service.Job) (err error) {
	does, known := w.workers[j.Kind]
	if !known {
		return fmt.Errorf("nobody does jobs of kind %q", j.Kind)
	}
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic: %v", p)
		}
	}()
	return does.Do(ctx, j)
}

// defaultPause is a second, doubled for each failure up to an hour, and up to a quarter more so that what
// failed together does not come back together.
func defaultPause(failed int) time.Duration {
	pause := longestPause
	if failed < 13 {
		pause = min(time.Second<<max(failed-1, 0), longestPause)
	}
	return pause + rand.N(pause/4)
}

func orDefault[T int | time.Duration](v, otherwise T) T {
	if v > 0 {
		return v
	}
	return otherwise
}

// warnings keeps of river's log what is a warning or worse: it tells of each election.
type warnings struct{ slog.Handler }

// Enabled tells whether a level is logged.
func (w warnings) Enabled(ctx context.Context, level slog.Level) bool {
	return level >= slog.LevelWarn && w.Handler.Enabled(ctx, level)
}

// WithAttrs keeps what is given attributes as quiet.
func (w warnings) WithAttrs(attrs []slog.Attr) slog.Handler {
	return warnings{w.Handler.WithAttrs(attrs)}
}

// WithGroup is as WithAttrs.
func (w warnings) WithGroup(name string) slog.Handler { return warnings{w.Handler.WithGroup(name)} }
