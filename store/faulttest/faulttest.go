// Package faulttest sets faults upon the real binary under load, and checks what is left.
//
// Clients write a journal before they send and after they are answered (journal.go, load.go); a nemesis breaks
// something (faults.go) in the database (postgres.go), on the line to it (line.go) or in the service (house.go); then everything is
// mended, what was not answered is repeated, and the checker (check.go) holds the journal against what is there. Each
// fault has a control, the same with a bug put in on purpose, which the checker must find: a checker that finds nothing proves
// nothing by itself.
//
// A killed process loses what it had in its own memory and not what it gave to the kernel, so the faults here are those of
// programs and lines; what a disk loses when the power fails is not among them.
package faulttest

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"time"
)

// mostAnswer is the deadline of every answer, errors too: acquiring a connection, a statement and a commit may each take some seconds.
const mostAnswer = 20 * time.Second

// mostWrongs is how many findings are kept.
const mostWrongs = 50

// World is a service under load with what can break it.
type World struct {
	Log io.Writer // what happens, in words

	dir      string
	postgres *postgres
	line     *line
	house    *house
	front    *line // between clients and service, where fronted
	fronted  bool
	behind   bool     // the standby falls behind: a bug for controls
	failing  bool     // calculations fail, as they are made to
	later    []func() // when all is over
	journal  *journal
	parties  []*party
	watch    *watch

	mu     sync.Mutex
	wrongs []string // found while the load ran
}

// Options are how a world differs from the usual.
type Options struct {
	Binary      string
	Connections int      // of the service to the database; 0: its own default
	Environment []string // of the service, beside the usual
	SmallDisk   bool     // for the database
	OwnClock    bool     // for the database, which can be set
	Webhooks    bool     // can be made, to this machine
}

// NewWorld starts a Postgres that keeps what it commits, a line to it, the service, and two organisations.
func NewWorld(ctx context.Context, log io.Writer, o Options) (_ *World, err error) {
	w := &World{Log: log}
	defer func() {
		if err != nil {
			w.Close()
		}
	}()
	if w.dir, err = os.MkdirTemp("", "rideout-faults-*"); err != nil {
		return nil, err
	}
	if err := os.Chmod(w.dir, 0o755); err != nil { // as root, Postgres runs as another account
		return nil, err
	}
	data := filepath.Join(w.dir, "data")
	if o.SmallDisk {
		unmount, err := mountSmall(data)
		if err != nil {
			return nil, err
		}
		w.later = append(w.later, unmount)
	}
	if o.OwnClock {
		restore, err := fakeClock(w.dir)
		if err != nil {
			return nil, err
		}
		w.later = append(w.later, restore)
	}
	if w.postgres, err = startPostgres(ctx, data); err != nil {
		return nil, err
	}
	if w.line, err = newLine(w.postgres.address); err != nil {
		return nil, err
	}
	if w.house, err = newHouse(w.dir, o, w.line.port()); err != nil {
		return nil, err
	}
	for _, name := range []string{"Hamna charter", "Skarv school"} {
		p, err := w.house.party(ctx, name)
		if err != nil {
			return nil, err
		}
		w.parties = append(w.parties, p)
	}
	if err := w.house.start(ctx); err != nil {
		return nil, err
	}
	if w.front, err = newLine(func() (string, string) { return "tcp", w.house.addr }); err != nil {
		return nil, err
	}
	if w.journal, err = newJournal(filepath.Join(w.dir, "journal.jsonl")); err != nil {
		return nil, err
	}
	return w, nil
}

// Close ends everything and removes what it kept.
func (w *World) Close() {
	if w.house != nil {
		w.house.kill()
	}
	for _, l := range []*line{w.front, w.line} {
		if l != nil {
			l.close()
		}
	}
	if w.postgres != nil {
		w.postgres.stop()
	}
	for _, end := range w.later {
		end()
	}
	if w.journal != nil {
		w.journal.close()
	}
	os.RemoveAll(w.dir)
}

func (w *World) say(format string, args ...any) {
	fmt.Fprintf(w.Log, "  "+time.Now().Format("05.0 ")+format+"\n", args...)
}

// wrong notes what must not be.
func (w *World) wrong(format string, args ...any) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if len(w.wrongs) < mostWrongs {
		w.wrongs = append(w.wrongs, fmt.Sprintf(format, args...))
	}
}

// sleep waits, or less when the context ends.
func sleep(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}
