package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"strings"
)

// errHelpShown ends a command that was asked for its flags only.
var errHelpShown = errors.New("help was shown")

// newFlags makes the flag set of a command, which prints nothing on its own.
func newFlags(name string) *flag.FlagSet {
	flags := flag.NewFlagSet(name, flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	return flags
}

// parse reads a command's flags, and refuses words left over.
func parse(p program, flags *flag.FlagSet, args []string) error {
	err := flags.Parse(args)
	switch {
	case errors.Is(err, flag.ErrHelp):
		fmt.Fprintf(p.stdout, "usage: rideout %s [FLAGS]\n", flags.Name())
		flags.SetOutput(p.stdout)
		flags.PrintDefaults()
		return errHelpShown
	case err != nil:
		return usageError{fmt.Sprintf("%s: %v; rideout %s -h lists the flags", flags.Name(), err, flags.Name())}
	case flags.NArg() > 0:
		return usageError{fmt.Sprintf("%s: takes flags only, not %q", flags.Name(), strings.Join(flags.Args(), " "))}
	}
	return nil
}
