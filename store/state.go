package store

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
)

// Connections are those of the pool, as an operator watches them.
type Connections struct {
	InUse, Idle, Most int
	Waited            int64
	WaitedFor         time.Duration
}

// Connections tells of the pool now, and of waits since the start.
func (s *Store) Connections() Connections {
	stat := s.pool.Stat()
	return Connections{
		InUse: int(stat.AcquiredConns()), Idle: int(stat.IdleConns()), Most: int(stat.MaxConns()),
		Waited: stat.EmptyAcquireCount(), WaitedFor: stat.EmptyAcquireWaitTime(),
	}
}

// Queue is how many jobs of a kind stand in a state.
type Queue struct {
	Kind, State string
	Jobs        int64
	Oldest      time.Duration // how long the one that waits longest could have been done
}

// What has ended well is swept by time and tells nothing; the kinds come from the queues, as a job's kind is river's.
const queuesSQL = `
SELECT queue, state::text, count(*), greatest(extract(epoch FROM now() - min(scheduled_at)), 0)::float8
FROM river_job
WHERE state <> 'completed'
GROUP BY queue, state
ORDER BY queue, state`

// Queues counts the jobs that all processes share.
func (s *Store) Queues(ctx context.Context) ([]Queue, error) {
	rows, err := s.pool.Query(ctx, queuesSQL)
	if err != nil {
		return nil, unavailable(ctx, err)
	}
	queues, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (q Queue, err error) {
		var oldest float64
		err = row.Scan(&q.Kind, &q.State, &q.Jobs, &oldest)
		q.Oldest = time.Duration(oldest * float64(time.Second))
		return q, err
	})
	return queues, unavailable(ctx, err)
}

// The statistics are the database's own and say nothing of whose rows these are; counting them would need a way round
// the walls.
const logEntriesSQL = `SELECT coalesce(sum(n_live_tup), 0)::float8 FROM pg_stat_user_tables WHERE relid = 'changes'::regclass`

// LogEntries estimates how many entries the logs of all organisations have.
func (s *Store) LogEntries(ctx context.Context) (n float64, err error) {
	err = s.pool.QueryRow(ctx, logEntriesSQL).Scan(&n)
	return n, unavailable(ctx, err)
}

// durable are the settings without which an answer that was given may be gone after the machine fails.
var durable = []string{"fsync", "synchronous_commit"}

// ErrNotDurable says that the database may lose what it has confirmed.
var ErrNotDurable = errors.New("the database may lose what it has confirmed when its machine fails")

// Durable tells by ErrNotDurable which of the settings that keep what was confirmed are off, as a connection to this address
// has them: a role, a database and the address itself can set them otherwise than the server.
func Durable(ctx context.Context, url string) error {
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return fmt.Errorf("ask whether the database keeps what it confirms: %w", unavailable(ctx, err))
	}
	defer conn.Close(context.WithoutCancel(ctx))
	var off []string
	for _, name := range durable {
		var value string
		if err := conn.QueryRow(ctx, `SELECT current_setting($1)`, name).Scan(&value); err != nil {
			return fmt.Errorf("ask for %s: %w", name, unavailable(ctx, err))
		}
		if value == "off" {
			off = append(off, name)
		}
	}
	if len(off) > 0 {
		return fmt.Errorf("%w: off is %s", ErrNotDurable, strings.Join(off, ", "))
	}
	return nil
}
