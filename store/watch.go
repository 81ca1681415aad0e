package store

import (
	"context"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
)

const (
	// deafPause is how often everybody is woken, and the connection sought anew, while there is none to listen on.
	deafPause = 2 * time.Second
	// deafAfter is how long a connection may be silent before it is asked whether it lives.
	deafAfter = 30 * time.Second
)

// bell wakes whoever watches an organisation's changes. One connection listens for all; while it is lost they are
// woken by the clock. The zero value is ready.
type bell struct {
	mu       sync.Mutex
	watchers map[service.OrgID]map[chan struct{}]struct{}
	quit     context.CancelFunc // nil: nobody has watched yet
	closed   bool
	done     chan struct{}
}

// Watch wakes for an organisation's changes, as service.EventLog says.
func (s *Store) Watch(org service.OrgID) (wake <-chan struct{}, stop func()) {
	b, c := &s.bell, make(chan struct{}, 1)
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.quit == nil && !b.closed {
		ctx, quit := context.WithCancel(context.Background())
		b.quit, b.done = quit, make(chan struct{})
		b.watchers = map[service.OrgID]map[chan struct{}]struct{}{}
		go b.listen(ctx, s.pool.Config().ConnConfig)
	}
	if b.watchers[org] == nil && b.watchers != nil {
		b.watchers[org] = map[chan struct{}]struct{}{}
	}
	if b.watchers != nil {
		b.watchers[org][c] = struct{}{}
	}
	return c, func() {
		b.mu.Lock()
		defer b.mu.Unlock()
		delete(b.watchers[org], c)
		if len(b.watchers[org]) == 0 {
			delete(b.watchers, org)
		}
	}
}

// close ends the listening and waits for it.
func (b *bell) close() {
	b.mu.Lock()
	b.closed = true
	quit, done := b.quit, b.done
	b.mu.Unlock()
	if quit != nil {
		quit()
		<-done
	}
}

// listen holds a connection, and gets another when it is lost.
func (b *bell) listen(ctx context.Context, config *pgx.ConnConfig) {
	defer close(b.done)
	for ctx.Err() == nil {
		_ = b.listenOn(ctx, config) // whatever it was: everybody is woken by the clock, and it is tried again
		b.ringAll()
		select {
		case <-ctx.Done():
		case <-time.After(deafPause):
		}
	}
}

func (b *bell) listenOn(ctx context.Context, config *pgx.ConnConfig) error {
	conn, err := pgx.ConnectConfig(ctx, config.Copy())
	if err != nil {
		return err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	if _, err := conn.Exec(ctx, `LISTEN rideout_changes`); err != nil {
		return err
	}
	b.ringAll() // for what came before
	for {
		waiting, cancel := context.WithTimeout(ctx, deafAfter)
		said, err := conn.WaitForNotification(waiting)
		silent := waiting.Err() != nil && ctx.Err() == nil
		cancel()
		switch {
		case err == nil:
			b.ring(said.Payload)
		case silent:
			if err := conn.Ping(ctx); err != nil {
				return err
			}
		default:
			return err
		}
	}
}

func (b *bell) ring(payload string) {
	org, err := uuid.Parse(payload)
	if err != nil {
		return // not ours
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for c := range b.watchers[org] {
		wake(c)
	}
}

func (b *bell) ringAll() {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, of := range b.watchers {
		for c := range of {
			wake(c)
		}
	}
}

func wake(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default: // it is to wake already
	}
}
