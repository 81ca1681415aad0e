// Package jobs keeps work for later in the database's queue, and has it done.
//
// The queue is river's. A job is put into it in the transaction of the change it follows, so there is none for
// what was rolled back and none is missing for what was committed. A second machine is a second process.
package jobs

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"

	"rideout/service"
)

// mostTries is how often a job is tried: for about a week, as defaultPause goes.
const mostTries = 170

// args is a job as the queue holds it. Each kind of ours has a queue of its own, so that none waits for another and a
// process takes only what it knows. River's own kind is the same for all: a process that takes up what another left
// throws away the kinds it does not know, and an older one at work beside a newer one shall not.
type args struct {
	Do  service.JobKind `json:"do"`
	Org service.OrgID   `json:"org"`
	On  []uuid.UUID     `json:"on,omitempty"`
	Seq int64           `json:"seq,omitempty"`

	Cause string `json:"cause,omitempty"`
}

// Kind is river's name for all of our jobs.
func (args) Kind() string { return "rideout" }

// inserter only notes: it has no connection of its own and is never started. It is safe for concurrent use.
var inserter = newInserter()

func newInserter() *river.Client[pgx.Tx] {
	client, err := river.NewClient(riverpgxv5.New(nil), &river.Config{})
	if err != nil {
		panic(err) // a configuration that is wrong for all
	}
	return client
}

// Insert notes jobs in a transaction.
func Insert(ctx context.Context, tx pgx.Tx, jobs ...service.Job) error {
	params := make([]river.InsertManyParams, len(jobs))
	for i, j := range jobs {
		if j.Kind == "" || j.Org == uuid.Nil {
			return fmt.Errorf("note a job: kind %q for organisation %v, want both", j.Kind, j.Org)
		}
		params[i] = river.InsertManyParams{
			Args:       args{Do: j.Kind, Org: j.Org, On: j.On, Seq: j.Seq, Cause: service.CauseOf(ctx)},
			InsertOpts: &river.InsertOpts{Queue: string(j.Kind), MaxAttempts: mostTries, ScheduledAt: j.At},
		}
	}
	if len(jobs) == 0 {
		return nil
	}
	if _, err := inserter.InsertManyTx(ctx, tx, params); err != nil {
		return fmt.Errorf("note a job: %w", err)
	}
	return nil
}

// jobOf gives a job back as it was noted.
func jobOf(j *river.Job[args]) service.Job {
	at := time.Time{}
	if j.ScheduledAt.After(j.CreatedAt) {
		at = j.ScheduledAt
	}
	return service.Job{Kind: j.Args.Do, Org: j.Args.Org, On: j.Args.On, Seq: j.Args.Seq, At: at, Cause: j.Args.Cause}
}
