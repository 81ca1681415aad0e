package ledger

import (
	"cmp"
	"fmt"
	"slices"
)

// Kind sorts findings.
type Kind string

// The kinds. Unless another is named, the entry is at fault.
const (
	KindMalformed Kind = "malformed" // what stands here is no entry
	KindMisplaced Kind = "misplaced" // another entry stands where this one is due
	KindMissing   Kind = "missing"   // they are not there, and the log goes on
	KindCut       Kind = "cut"       // a checkpoint has them, and the log ends before
	KindChanged   Kind = "changed"   // each of them is not what was signed
	KindWithin    Kind = "within"    // something among them is not what was signed: changed, dropped, added or moved
	KindUnsigned  Kind = "unsigned"  // no checkpoint reaches them
	KindUnlike    Kind = "unlike"    // entry and stored hash differ, and no checkpoint tells which is right
	KindBackward  Kind = "backward"  // recorded before the entry before
	KindForeign   Kind = "foreign"   // another organisation's
	KindBody      Kind = "body"      // the entry's body is not the one entered; the entry may be right
	KindText      Kind = "text"      // a personal text is not the one committed to; the entry may be right
	KindHash      Kind = "hash"      // a stored hash is wrong or not there; the entry may be right
	KindFork      Kind = "fork"      // two checkpoints of one size were signed, and differ
)

// Finding is something wrong with the entries First to Last.
type Finding struct {
	Kind        Kind
	First, Last int64
	Message     string // a sentence for people
}

// String gives the entries and the message.
func (f Finding) String() string {
	if f.First == f.Last {
		return fmt.Sprintf("entry %d: %s", f.First, f.Message)
	}
	return fmt.Sprintf("entries %d to %d: %s", f.First, f.Last, f.Message)
}

// Held is a checkpoint and whether the log agrees with it: all entries up to its size are those it was signed for.
type Held struct {
	Checkpoint Checkpoint
	Agrees     bool
}

// Report is what Verify found.
type Report struct {
	Entries int64 // read and in their place
	Bodies  int64 // of them, those whose body was given
	Texts   int64 // personal texts given
	Hashes  int64 // stored hashes given
	// Checkpoints are in order of size.
	Checkpoints []Held
	// Proven is the size up to which every checkpoint agrees: all entries to there are as they were signed.
	Proven int64
	// Settled is the size up to which the findings are complete: entries to there that no finding names are as they were
	// signed, though others among them are not. That holds while Left is 0.
	Settled int64
	// Findings are by their first entry, then their last. At most 100 are kept; Left counts the others.
	Findings []Finding
	Left     int
}

// Sound tells whether nothing was found.
func (r Report) Sound() bool { return len(r.Findings) == 0 }

// maxFindings bounds the memory that a log of nothing but faults takes.
const maxFindings = 100

// find notes a finding once.
func (r *Report) find(kind Kind, first, last int64, message string) {
	f := Finding{kind, first, last, message}
	same := func(g Finding) bool { return g.Kind == kind && g.First == first && g.Last == last }
	switch {
	case slices.ContainsFunc(r.Findings, same):
	case len(r.Findings) == maxFindings:
		r.Left++
	default:
		r.Findings = append(r.Findings, f)
	}
}

func (r *Report) sort() {
	slices.SortStableFunc(r.Findings, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(a.First, b.First), cmp.Compare(a.Last, b.Last))
	})
}
