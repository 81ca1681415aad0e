package service

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
)

// JobKind says what a job is to do, in a word or two: "deliver_webhook".
type JobKind string

// Job is work for later, noted in one transaction with the change it follows (Recorder.Later). It names what it is
// about and holds nothing of it, so that content stays behind the walls of its organisation and no secret lies in
// a queue. It is done at least once: a process may end between the work and the note that it is done.
type Job struct {
	Kind JobKind
	Org  OrgID
	On   []uuid.UUID // what it is about, in an order its kind knows
	Seq  int64       // the organisation's change it follows; 0: none
	At   time.Time   // not before; the zero time: at once
	// Cause is the trace it was noted in, as WithCause has it; the queue sets it.
	Cause string
}

// Worker does the jobs of one kind. The zero value of all but Do is a default.
type Worker struct {
	// Do is called with a context that ends when the job's limit is up or the process must end. When it returns an
	// error the job is done again later, for about a week; Again says when, and Pointless that it would be of no use.
	Do     func(context.Context, Job) error
	Limit  time.Duration                  // of one try; 0: a minute
	Pause  func(failed int) time.Duration // after so many tries have failed; nil: a second, doubled to an hour, with jitter
	AtOnce int                            // at work at once in a process; 0: 4
}

// Workers are what does the jobs, by their kinds.
type Workers map[JobKind]Worker

// Again is returned by a worker whose job has not failed but is to be done again after a while.
type Again struct{ After time.Duration }

func (a Again) Error() string { return fmt.Sprintf("again after %v", a.After) }

// Pointless is returned by a worker whose job failed and would fail again.
type Pointless struct{ Err error }

func (p Pointless) Error() string { return "of no use to try again: " + p.Err.Error() }

// Unwrap returns why.
func (p Pointless) Unwrap() error { return p.Err }
