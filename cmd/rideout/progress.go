package main

import (
	"fmt"
	"io"
	"time"
)

const (
	progressAfter = time.Second
	progressEvery = 200 * time.Millisecond
)

// progress tells how far long work is, on one line that is written over and gone at the end; only where a person looks.
type progress struct {
	w     io.Writer // nil: nobody looks
	begun time.Time
	told  time.Time
}

func newProgress(w io.Writer) *progress {
	if !isTerminal(w) {
		w = nil
	}
	return &progress{w: w, begun: time.Now()}
}

func (p *progress) tell(format string, args ...any) {
	now := time.Now()
	if p.w == nil || now.Sub(p.begun) < progressAfter || now.Sub(p.told) < progressEvery {
		return
	}
	p.told = now
	fmt.Fprintf(p.w, "\r\x1b[K"+format+", %.0f s", append(args, now.Sub(p.begun).Seconds())...)
}

// end takes the line away.
func (p *progress) end() {
	if p.w != nil && !p.told.IsZero() {
		fmt.Fprint(p.w, "\r\x1b[K")
		p.told = time.Time{}
	}
}
