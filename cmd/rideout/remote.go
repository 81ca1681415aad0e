package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/google/uuid"

	"rideout/api/client"
	"rideout/openapi"
)

// calling is what the commands that call a service have in common: which one, by which key, and how the answer is
// shown.
type calling struct {
	server, keyFile string
	json, text      bool
	patience        time.Duration // with a service that is silent; 0: as usual
}

func (c *calling) flags(p program, flags *flag.FlagSet) {
	c.serviceFlags(p, flags)
	flags.BoolVar(&c.json, "json", false, "print what was answered as JSON, of a list one item a line; so it is without a terminal, too")
	flags.BoolVar(&c.text, "text", false, "print tables for people, even without a terminal")
}

// serviceFlags are those of a command that prints what it gets as it is.
func (c *calling) serviceFlags(p program, flags *flag.FlagSet) {
	flags.StringVar(&c.server, "server", cmp.Or(p.getenv("RIDEOUT_SERVER"), "http://"+defaultAddr), "`address` of the service")
	c.keyFlag(p, flags)
}

func (c *calling) keyFlag(p program, flags *flag.FlagSet) {
	flags.StringVar(&c.keyFile, "key-file", p.getenv("RIDEOUT_KEY_FILE"), "`file` with the key; without one it is taken from RIDEOUT_KEY")
}

// remote is a service that is called.
type remote struct {
	*client.Client
	program
	json     bool
	progress *progress
}

func (c *calling) open(p program) (*remote, error) {
	if c.json && c.text {
		return nil, usageError{"--json and --text: choose one"}
	}
	key, err := client.ReadKey(c.keyFile, p.getenv)
	if err != nil {
		return nil, usageError{err.Error() + "; rideout demo prints one, and rideout key makes one"}
	}
	r := &remote{program: p, json: c.json || (!c.text && !isTerminal(p.stdout)), progress: newProgress(p.stderr)}
	r.Client, err = client.New(client.Config{Server: c.server, Key: key, Patience: c.patience, Repeating: func(cause error, wait time.Duration) {
		r.progress.end()
		fmt.Fprintf(p.stderr, "again in %.1f s: %s\n", wait.Seconds(), firstLine(inWords(cause)))
	}})
	if err != nil {
		return nil, usageError{err.Error()}
	}
	if inClear(c.server) {
		fmt.Fprintln(p.stderr, "note: the key goes over the network unencrypted; use https")
	}
	return r, nil
}

// inClear tells of an address to which a key goes readable by others on the way.
func inClear(server string) bool {
	at, err := url.Parse(server)
	if err != nil || at.Scheme != "http" {
		return false
	}
	ip := net.ParseIP(at.Hostname())
	return at.Hostname() != "localhost" && (ip == nil || !ip.IsLoopback())
}

func firstLine(text string) string {
	line, _, _ := strings.Cut(text, "\n")
	return line
}

// isTerminal tells whether a person looks at what is written.
func isTerminal(w io.Writer) bool {
	file, ok := w.(interface{ Stat() (os.FileInfo, error) })
	if !ok {
		return false
	}
	info, err := file.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// show prints a document as it was answered, or what a person reads of it.
func show[T any](r *remote, words func(*page, T), answer *http.Response, err error) error {
	body, err := client.Bytes(answer, err)
	if err != nil {
		return err
	}
	if r.json {
		_, err := r.stdout.Write(append(bytes.TrimSpace(body), '\n'))
		return err
	}
	var read T
	if err := json.Unmarshal(body, &read); err != nil {
		return fmt.Errorf("the answer is not what the contract says: %w", err)
	}
	out := &page{w: r.stdout}
	words(out, read)
	return out.err
}

// list prints the items of a list as they come: JSON, or rows of a table.
func list[T any](r *remote, what, head string, row func(T) string, ask func(*string) (*http.Response, error)) error {
	defer r.progress.end()
	table := tabwriter.NewWriter(r.stdout, 0, 0, 2, ' ', 0)
	if !r.json {
		fmt.Fprintln(table, head) // errors are kept by the writer until Flush
	}
	n := 0
	for item, err := range client.Items(ask) {
		if err != nil {
			return err
		}
		n++
		r.progress.tell("%d %s", n, what)
		if r.json {
			if _, err := fmt.Fprintf(r.stdout, "%s\n", item); err != nil {
				return err
			}
			continue
		}
		var read T
		if err := json.Unmarshal(item, &read); err != nil {
			return fmt.Errorf("the answer is not what the contract says: %w", err)
		}
		fmt.Fprintln(table, row(read))
	}
	r.progress.end()
	if !r.json && n == 0 {
		_, err := fmt.Fprintf(r.stdout, "There are no %s.\n", what)
		return err
	}
	return table.Flush()
}

// vessel finds a registered vessel by her id or her name.
func (r *remote) vessel(ctx context.Context, named string) (uuid.UUID, error) {
	if id, err := uuid.Parse(named); err == nil {
		return id, nil
	}
	var found []uuid.UUID
	for item, err := range client.Items(func(cursor *string) (*http.Response, error) {
		return r.ListVessels(ctx, &openapi.ListVesselsParams{Cursor: cursor, Limit: pages})
	}) {
		if err != nil {
			return uuid.Nil, err
		}
		var v openapi.VesselRecord
		if err := json.Unmarshal(item, &v); err != nil {
			return uuid.Nil, fmt.Errorf("the answer is not what the contract says: %w", err)
		}
		if strings.EqualFold(v.Name, strings.TrimSpace(named)) && v.Id != nil {
			found = append(found, *v.Id)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return uuid.Nil, usageError{fmt.Sprintf("no vessel is called %q; rideout vessels lists them", named)}
	}
	return uuid.Nil, usageError{fmt.Sprintf("%d vessels are called %q; name her by her id, which rideout vessels lists", len(found), named)}
}

// pages is how many items a page is asked for.
var pages = new(200)

// timeFlag adds a flag for a time or a day.
func timeFlag(flags *flag.FlagSet, into **time.Time, name, words string) {
	flags.Func(name, words, func(text string) error {
		for _, form := range []string{time.RFC3339, time.DateOnly} {
			if at, err := time.Parse(form, text); err == nil {
				*into = &at
				return nil
			}
		}
		return errors.New("give a time such as 2026-01-12T12:00:00Z, or a day such as 2026-01-12")
	})
}

// asOf are the flags of what is read as of two times.
type asOf struct{ valid, known *time.Time }

func (a *asOf) flags(flags *flag.FlagSet) {
	timeFlag(flags, &a.valid, "valid-at", "as it is at this `time`; without it, now")
	timeFlag(flags, &a.known, "known-at", "by what was recorded up to this `time`; without it, the latest")
}

// toFile lets write write to a file, which appears whole or not at all; without a name to otherwise.
func toFile(name string, otherwise io.Writer, write func(io.Writer) error) (err error) {
	if name == "" {
		return write(otherwise)
	}
	part, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+".*")
	if err != nil {
		return usageError{err.Error()}
	}
	defer func() {
		if err != nil {
			part.Close()
			os.Remove(part.Name())
		}
	}()
	if err := write(part); err != nil {
		return err
	}
	if err := errors.Join(part.Chmod(0o644), part.Sync(), part.Close()); err != nil {
		return err
	}
	return os.Rename(part.Name(), name)
}
