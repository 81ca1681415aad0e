package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"rideout/service"
	"rideout/store/jobs"
)

// jobConns is for the queue alone, beside those of the requests: they take jobs and note that they are done. One more listens, which
// river takes out of the pool. What the jobs themselves read and record goes over the store's connections.
const jobConns = 4

// Later notes work for later in the transaction, as service.Recorder says.
func (r *recorder) Later(ctx context.Context, work ...service.Job) error {
	for i := range work {
		work[i].Org = r.org
	}
	// What is queued may note a job itself, which river cannot do within a statement of its own.
	if err := r.tx.flush(ctx); err != nil {
		return unavailable(ctx, err)
	}
	return unavailable(ctx, jobs.Insert(ctx, r.tx, work...))
}

// Work has jobs done until Stop.
type Work struct {
	pool   *pgxpool.Pool
	runner *jobs.Runner
}

// StartWork begins to have jobs done. A job's worker reads and records through the use cases, which name its
// organisation as those of a request do.
func (s *Store) StartWork(ctx context.Context, c jobs.Config) (*Work, error) {
	config := s.pool.Config()
	config.MaxConns = jobConns
	config.ConnConfig.RuntimeParams["application_name"] = "rideout jobs"
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, fmt.Errorf("start work: %w", err)
	}
	runner, err := jobs.Start(ctx, pool, c)
	if err != nil {
		pool.Close()
		return nil, fmt.Errorf("start work: %w", unavailable(ctx, err))
	}
	return &Work{pool: pool, runner: runner}, nil
}

// Stop lets the jobs at work finish for grace, and ends the others.
func (w *Work) Stop(grace time.Duration) error {
	defer w.pool.Close()
	return w.runner.Stop(grace)
}
