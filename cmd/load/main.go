// Command load measures the service under load, beside a bare handler that does one indexed read or one insert of the same
// bytes: the same framework, driver and size of pool on the same Postgres, in a process of its own like the service's. Other
// programs disturb both alike, so what it prints are ratios, each the median of rounds in which the two take turns.
//
// Figures are of this machine in this hour. Nothing passes or fails here.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"time"
)

// options is how long and how much.
type options struct {
	binary  string
	span    time.Duration // of one measurement
	rounds  int
	workers int // that ask without a pause, where the most that goes is looked for
	only    string
	vessels int // that are planned anew
}

type measure struct {
	name string
	take func(context.Context, *ground, options) error
}

// measures are what can be measured, in this order. Those that plan a fleet anew have the database for themselves.
var measures = []measure{
	{"fleet", fleet},
	{"kill", kill},
	{"reads", served(reads)},
	{"inserts", served(inserts)},
	{"curve", served(curve)},
	{"queue", served(queue)},
	{"mixed", served(mixed)},
	{"rescue", served(rescue)},
}

// usual is what is measured when nothing is said.
const usual = "reads,inserts,curve,queue,mixed,rescue"

// served has a measure find the services running.
func served(take func(context.Context, *ground, options) error) func(context.Context, *ground, options) error {
	return func(ctx context.Context, g *ground, o options) error {
		if err := g.open(ctx); err != nil {
			return err
		}
		return take(ctx, g, o)
	}
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	var err error
	if len(os.Args) > 1 && os.Args[1] == bareVerb {
		err = serveBare(ctx, os.Args[2:])
	} else {
		err = run(ctx)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "load:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context) (err error) {
	var o options
	flag.StringVar(&o.binary, "rideout", "bin/rideout", "the `program` to measure")
	flag.DurationVar(&o.span, "span", 2*time.Second, "`how long` one measurement takes")
	flag.IntVar(&o.rounds, "rounds", 5, "rounds of which the median is told")
	flag.IntVar(&o.workers, "workers", 16, "callers that ask without a pause")
	flag.IntVar(&o.vessels, "vessels", 48, "`how many` are planned anew")
	flag.StringVar(&o.only, "only", "", "measure these `alone`, with commas between: of "+usual+", or fleet and kill, which plan a fleet anew by two processes")
	flag.Parse()
	if err := o.check(); err != nil {
		return err
	}
	fmt.Printf("%d processors, %d rounds of %v, %d callers where the most is looked for; load of the machine: %s\n", runtime.NumCPU(), o.rounds, o.span, o.workers, machineLoad())
	g, err := openDatabase(ctx, o.binary)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, g.close()) }()
	if o.only == "" {
		o.only = usual
	}
	for _, m := range measures {
		if !o.wants(m.name) {
			continue
		}
		if err := m.take(ctx, g, o); err != nil {
			return err
		}
	}
	return nil
}

func (o options) wants(name string) bool {
	return slices.Contains(strings.Split(o.only, ","), name)
}

func (o options) check() error {
	for name := range strings.SplitSeq(o.only, ",") {
		if o.only != "" && !slices.ContainsFunc(measures, func(m measure) bool { return m.name == name }) {
			return fmt.Errorf("there is no measure %q", name)
		}
	}
	return nil
}

// machineLoad is what else runs, as Linux tells it.
func machineLoad() string {
	text, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		return "not known"
	}
	return string(text[:len(text)-1])
}
