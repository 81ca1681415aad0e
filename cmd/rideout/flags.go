package main

import (
	"context"
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
		return showFlags(p, flags)
	case err != nil:
		return usageError{fmt.Sprintf("%s: %v; rideout %s -h lists the flags", flags.Name(), err, flags.Name())}
	case flags.NArg() > 0:
		return usageError{fmt.Sprintf("%s: takes flags only, not %q", flags.Name(), strings.Join(flags.Args(), " "))}
	}
	return nil
}

// flagCatcher stands in for stdout and takes a command's flags when it would list them.
type flagCatcher struct {
	io.Writer
	flags *flag.FlagSet
}

func showFlags(p program, flags *flag.FlagSet) error {
	if catcher, ok := p.stdout.(*flagCatcher); ok {
		catcher.flags = flags
		return errHelpShown
	}
	fmt.Fprintf(p.stdout, "usage: rideout %s [FLAGS]\n", flags.Name())
	flags.SetOutput(p.stdout)
	flags.PrintDefaults()
	fmt.Fprintf(p.stdout, "rideout help %s explains it with examples.\n", flags.Name())
	return errHelpShown
}

// flagsOf gives the flags of a command, in the order of their names; without any for one that takes words.
func flagsOf(c command) []*flag.Flag {
	catcher := &flagCatcher{Writer: io.Discard}
	if _, takesWords := wordsOf[c.name]; takesWords {
		return nil
	}
	nothing := func(string) string { return "" }
	if err := c.run(context.Background(), program{nothing, catcher, io.Discard}, []string{"-h"}); !errors.Is(err, errHelpShown) || catcher.flags == nil {
		return nil
	}
	var list []*flag.Flag
	catcher.flags.VisitAll(func(f *flag.Flag) { list = append(list, f) })
	return list
}

// choices gives what a flag may be set to, where its words list it after "one of".
func choices(f *flag.Flag) []string {
	_, listed, found := strings.Cut(f.Usage, "`one` of ")
	if !found {
		return nil
	}
	listed, _, _ = strings.Cut(listed, ";")
	return strings.Split(listed, ", ")
}

// isSwitch tells of a flag that takes no value.
func isSwitch(f *flag.Flag) bool {
	b, ok := f.Value.(interface{ IsBoolFlag() bool })
	return ok && b.IsBoolFlag()
}
