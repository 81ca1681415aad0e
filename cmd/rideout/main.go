// Command rideout computes deployment plans for lying to a parachute sea anchor, on the command
// line or as an HTTP service. It has one file a subcommand, and wiring only.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"rideout/api/client"
	"rideout/service"
)

// program is what a subcommand may use of the process it runs in.
type program struct {
	getenv         func(string) string
	stdout, stderr io.Writer
}

type command struct {
	name, words string
	run         func(context.Context, program, []string) error
}

// commands in the order help lists them.
func commands() []command {
	return []command{
		{"plan", "compute a plan from files, without a database", plan},
		{"demo", "serve an invented fleet from a private Postgres", demonstrate},
		{"serve", "serve the HTTP API", serve},
		{"key", "make, list, rotate or revoke the keys of an organisation's programs", keyCommand},
		{"vessels", "list the registered vessels of a service", vessels},
		{"readiness", "tell which vessels are ready, and why the others are not", readiness},
		{"sheet", "fetch the crew's sheet of a plan: text, page or PDF", sheet},
		{"storm-plan", "fetch a vessel's storm plan in short, over a poor link", stormPlan},
		{"events", "list what happened, or follow what happens", events},
		{"export", "write plans, vessels, incidents or readiness as JSON, or an audit with its manifest", export},
		{"log-key", "print the public key that the log is signed with, or make the key", logKey},
		{"verify", "verify a log or an export, without the service", verify},
		{"migrate", "bring a database to this program's version, or back", migrate},
		{"healthcheck", "ask a service on this machine whether it is ready", healthcheck},
		{"version", "print the version", version},
		{"completion", "print what makes bash, zsh or fish complete commands and flags", completion},
		{"help", "explain a command with examples, or print the manual", help},
	}
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second signal ends the program at once
	os.Exit(run(ctx, program{os.Getenv, os.Stdout, os.Stderr}, os.Args[1:]))
}

// Exit codes.
const (
	exitOK = iota
	exitFailed
	exitBadInput // what was typed, or a file it names, is wrong
)

func run(ctx context.Context, p program, args []string) int {
	name, rest := "help", args
	if len(args) > 0 {
		name, rest = args[0], args[1:]
	}
	for _, c := range commands() {
		if c.name == name || (c.name == "help" && (name == "-h" || name == "--help")) {
			return report(p.stderr, c.run(ctx, p, rest))
		}
	}
	return report(p.stderr, usageError{fmt.Sprintf("there is no command %q; rideout help lists them", name)})
}

// usageError is a mistake in what was typed or set.
type usageError struct{ message string }

func (e usageError) Error() string { return e.message }

// report tells of an error in words and gives the exit code. The text of a refused request names
// every wrong field.
func report(w io.Writer, err error) int {
	var usage usageError
	var answered *client.Error
	var refused *service.Error
	switch {
	case err == nil:
		return exitOK
	case errors.Is(err, errHelpShown):
		return exitOK
	case errors.As(err, &usage):
		fmt.Fprintln(w, "rideout:", usage.message)
		return exitBadInput
	case errors.As(err, &refused) && refused.Kind == service.KindInvalid:
		fmt.Fprintln(w, "rideout:", refused.Message)
		for _, f := range refused.Fields {
			fmt.Fprintf(w, "  %s: %s; %s\n", orWhole(f.Pointer), f.Message, f.Fix)
		}
		return exitBadInput
	case errors.As(err, &answered) && answered.Refused():
		fmt.Fprintln(w, "rideout:", err)
		return exitBadInput
	}
	if errors.Is(err, context.Canceled) {
		err = errors.New("interrupted")
	}
	fmt.Fprintln(w, "rideout:", strings.TrimSpace(inWords(err)))
	return exitFailed
}

// inWords tells of a service that could not be reached by its address, and what to do where the address may be wrong.
func inWords(err error) string {
	var call *url.Error
	if !errors.As(err, &call) {
		return err.Error()
	}
	at, _, _ := strings.Cut(call.URL, "/v1/")
	text := fmt.Sprintf("%s does not answer: %v", at, call.Err)
	if dial := (*net.OpError)(nil); errors.As(call.Err, &dial) && dial.Op == "dial" {
		text += "; its address is given by --server or RIDEOUT_SERVER"
	}
	return text
}

func orWhole(pointer string) string {
	if pointer == "" {
		return "the whole"
	}
	return pointer
}
