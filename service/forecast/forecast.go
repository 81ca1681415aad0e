// Package forecast reads outside forecasts and buoy records into planner.Forecast: bytes in, a value
// or an error out. DecodeCoverageJSON reads the OGC's CoverageJSON, DecodeNDBC the text of the U.S.
// National Data Buoy Center. Runs and Every cut a long record down to what a plan takes.
//
// A decoder never fills a gap. What is missing stays nil and the planner estimates it; what had to
// be decided on the way (rows dropped, a parameter left unused) is told in Notes.
package forecast

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"rideout/service/planner"
)

// Problem is one thing wrong with a document. In CoverageJSON Pointer is a JSON pointer (RFC 6901)
// into the coverage; in a text it is /line/N or /line/N/COLUMN, lines counted from 1. Fix says what
// to send instead.
type Problem struct {
	Pointer string
	Message string
	Fix     string
}

// Error holds everything found wrong with a document, in a stable order. It has at least one Problem.
type Error struct {
	Problems []Problem
}

func (e *Error) Error() string {
	texts := make([]string, len(e.Problems))
	for i, p := range e.Problems {
		texts[i] = fmt.Sprintf("%s: %s", p.Pointer, p.Message)
	}
	return "forecast: " + strings.Join(texts, "; ")
}

// Note tells of something a decoder did or assumed that a reader of the plan should know.
type Note struct {
	Code    string // stable: one of the Note constants
	Count   int    // how many rows, steps or parameters it concerns; 0 where counting says nothing
	Message string
}

// The codes of notes.
const (
	NoteWindAsGiven     = "wind_as_given"    // the height and averaging of the wind were not converted
	NoteWindMissing     = "wind_missing"     // rows without wind speed were dropped
	NoteReordered       = "reordered"        // rows were put into time order
	NoteDuplicateTime   = "duplicate_time"   // rows repeating a time were dropped, the first kept
	NoteGap             = "gap"              // the record is interrupted; split it by Runs
	NotePeriodZero      = "period_zero"      // a wave period of zero was taken as missing
	NotePeriodKind      = "period_kind"      // a period of no stated kind was taken as the peak period
	NoteParameterUnused = "parameter_unused" // parameters that no plan uses, or that a better one replaced
)

// maxProblems keeps an answer readable when a whole document is of another kind.
const maxProblems = 50

// problems collects what is wrong while a document is read to its end.
type problems struct {
	list    []Problem
	dropped int
}

func (p *problems) add(pointer, message, fix string) {
	if len(p.list) >= maxProblems {
		p.dropped++
		return
	}
	p.list = append(p.list, Problem{pointer, message, fix})
}

// err gives nil when nothing was wrong.
func (p *problems) err() error {
	if len(p.list) == 0 {
		return nil
	}
	if p.dropped > 0 {
		last := &p.list[len(p.list)-1]
		last.Message += " (and " + strconv.Itoa(p.dropped) + " more problems)"
	}
	return &Error{Problems: p.list}
}

// counted gives "1 row" or "5 rows".
func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.Itoa(n) + " " + what + "s"
}

// windHeightM is the height the planner takes the wind to be given at.
const windHeightM = 10.0

// longestStep is how long a step may reasonably hold; a longer one is noted as a gap.
const longestStep = 24 * time.Hour

// gapNotes tells of interruptions, for a step holds until the next.
func gapNotes(steps []planner.Step) []Note {
	gaps, longest := 0, time.Duration(0)
	for i := 1; i < len(steps); i++ {
		if d := steps[i].Time.Sub(steps[i-1].Time); d > longestStep {
			gaps++
			longest = max(longest, d)
		}
	}
	if gaps == 0 {
		return nil
	}
	return []Note{{NoteGap, gaps, fmt.Sprintf("%s of more than %g h, the longest %.0f h; a step holds until the next, so take one run at a time",
		counted(gaps, "gap"), longestStep.Hours(), longest.Hours())}}
}

func periodNotes(dropped int) []Note {
	if dropped == 0 {
		return nil
	}
	return []Note{{NotePeriodZero, dropped, counted(dropped, "wave period") + " of zero taken as missing"}}
}
