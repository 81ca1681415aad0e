package ledger

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"iter"
	"slices"
	"time"

	"github.com/google/uuid"
	"golang.org/x/mod/sumdb/tlog"
)

// item is what is kept of a record while it waits for the one after it.
type item struct {
	entry         Entry
	err           error // why there is no entry
	bodies, texts int64
	wrong         []Finding // about body and texts; without numbers
}

func itemOf(r Record, err error) item {
	if err == nil {
		err = r.Check()
	}
	if err != nil {
		return item{err: err}
	}
	it := item{entry: r.Entry, texts: int64(len(r.Texts))}
	if r.Body != nil {
		it.bodies = 1
		if sum := sha256.Sum256(r.Body); hex.EncodeToString(sum[:]) != r.BodySHA256 {
			it.wrong = append(it.wrong, Finding{Kind: KindBody, Message: "its body is not the one that was entered"})
		}
	}
	for _, t := range r.Texts {
		if err := t.check(r.Body); err != nil {
			it.wrong = append(it.wrong, Finding{Kind: KindText, Message: err.Error()})
		}
	}
	return it
}

// verifier is a verification at work.
type verifier struct {
	org    uuid.UUID
	due    int64     // the number of the entry that comes next
	last   time.Time // of the last entry
	spoilt int64     // where something unreadable stood last
	leaf   []byte    // space to encode in
	spine  spine

	ahead    []Checkpoint // by size
	most     int64        // the size of the largest checkpoint
	holed    bool         // an entry is missing
	lost     bool         // so is its hash: no further root can be computed
	differs  bool         // a checkpoint does not agree
	diverged bool         // and it has a root that nothing leads to

	next   func() (Hash, error, bool)
	stop   func()
	group  []Hash // the hashes stored with the entry that is due, as far as they go
	failed error  // of their source
	report Report
}

func newVerifier(log Log) (*verifier, error) {
	ahead := slices.Clone(log.Checkpoints)
	slices.SortStableFunc(ahead, func(a, b Checkpoint) int { return cmp.Compare(a.Size, b.Size) })
	v := &verifier{org: log.OrgID, due: 1, ahead: ahead}
	for _, c := range ahead {
		if err := c.check(); err != nil {
			return nil, err
		}
		if c.OrgID != log.OrgID {
			return nil, fmt.Errorf("%w: the checkpoint is of organisation %s, the log of %s", ErrMalformed, c.OrgID, log.OrgID)
		}
		v.most = c.Size
	}
	hashes := log.Hashes
	if hashes == nil {
		hashes = func(func(Hash, error) bool) {}
	}
	v.next, v.stop = iter.Pull2(hashes)
	v.settle()
	v.readGroup()
	return v, nil
}

// take puts a record in its place, or finds that it has none. following is the one after it, nil at the end.
func (v *verifier) take(it item, following *item) {
	seq := it.entry.Seq
	switch {
	case it.err != nil:
		v.spoilt = v.due
		v.report.find(KindMalformed, v.due, v.due, it.err.Error())
		return
	case seq < v.due, seq > v.due && following != nil && following.err == nil && following.entry.Seq <= seq:
		// A single entry that is out of order, not a gap.
		v.report.find(KindMisplaced, v.due, v.due, fmt.Sprintf("entry %d stands where this one is due", seq))
		return
	case seq > v.due:
		v.pass(seq)
	}
	v.examine(it)
	v.leaf = it.entry.appendLeaf(v.leaf[:0])
	v.grow(tlog.RecordHash(v.leaf))
}

// examine finds what is wrong with an entry in its place, whatever was signed.
func (v *verifier) examine(it item) {
	e := it.entry
	v.report.Entries++
	v.report.Bodies += it.bodies
	v.report.Texts += it.texts
	if e.OrgID != v.org {
		v.report.find(KindForeign, e.Seq, e.Seq, fmt.Sprintf("it is of organisation %s", e.OrgID))
	}
	if e.RecordedAt.Before(v.last) {
		v.report.find(KindBackward, e.Seq, e.Seq, fmt.Sprintf("its time %s is before that of the entry before", e.RecordedAt.UTC().Format(timeLayout)))
	}
	v.last = e.RecordedAt
	for _, f := range it.wrong {
		v.report.find(f.Kind, e.Seq, e.Seq, f.Message)
	}
}

// pass goes on to an entry over those missing before it, whose stored hashes stand in for them.
func (v *verifier) pass(seq int64) {
	first := v.due
	v.bridge(seq)
	v.lost = v.lost || v.due < seq
	v.due = seq
	v.missing(first, seq-1)
}

// bridge goes on towards an entry as far as stored hashes are there.
func (v *verifier) bridge(seq int64) {
	v.holed = v.holed || len(v.group) > 0
	for v.due < seq && len(v.group) > 0 && !v.lost && v.failed == nil {
		v.grow(v.group[0])
	}
}

func (v *verifier) missing(first, last int64) {
	if first == v.spoilt { // what stood there has been found
		first++
	}
	if first <= last {
		v.report.find(KindMissing, first, last, "missing from its place")
	}
}

// grow adds the leaf of the entry that is due to the tree.
func (v *verifier) grow(leaf Hash) {
	if !v.lost {
		stored := append(v.group, make([]Hash, hashesWith(v.due)-len(v.group))...)
		v.spine.push(v.due, leaf, stored)
	}
	v.due++
	v.settle()
	v.readGroup()
}

// readGroup reads the hashes stored with the entry that is due.
func (v *verifier) readGroup() {
	v.group = v.group[:0]
	for i := 0; i < hashesWith(v.due) && v.failed == nil && !v.lost; i++ {
		h, err, ok := v.next()
		if !ok {
			return
		}
		v.report.Hashes++
		switch first := v.due - (1<<i - 1); {
		case err != nil && !errors.Is(err, ErrMalformed):
			v.failed = fmt.Errorf("verify: %w", err)
		case err != nil:
			v.report.find(KindHash, first, v.due, "a stored hash cannot be read: "+err.Error())
		case h == (Hash{}):
			v.report.find(KindHash, first, v.due, "a stored hash is not there")
		}
		v.group = append(v.group, h)
	}
}

// settle holds the tree as it is now against the checkpoints of its size.
func (v *verifier) settle() {
	if len(v.ahead) == 0 || v.ahead[0].Size >= v.due {
		return
	}
	root, settled := v.spine.root(), v.report.Settled
	for first := v.ahead[0]; len(v.ahead) > 0 && v.ahead[0].Size < v.due; v.ahead = v.ahead[1:] {
		c := v.ahead[0]
		agrees := !v.lost && v.judge(c, root, settled) && !v.holed
		v.report.Checkpoints = append(v.report.Checkpoints, Held{c, agrees})
		v.differs = v.differs || !agrees
		if c.Size == first.Size && c.Root != first.Root {
			v.report.find(KindFork, settled+1, c.Size, "two checkpoints of this size were signed, and differ")
		}
	}
	if !v.differs {
		v.report.Proven = v.due - 1
	}
}

// judge tells whether the entries lead up to a checkpoint's root, a stored hash standing in for each that is missing, and
// finds what keeps them from it. All is known of entries up to the number settled.
func (v *verifier) judge(c Checkpoint, root node, settled int64) bool {
	agrees := root.computed == c.Root
	switch {
	case agrees:
		for _, s := range root.unlike {
			v.report.find(KindHash, s.first, s.last, "a stored hash is wrong; the entry is as signed")
		}
	case root.stored == c.Root:
		for _, s := range root.bad {
			v.report.find(s.kind(), s.first, s.last, s.message())
		}
	default:
		if !v.diverged {
			s := span{settled + 1, c.Size, false}
			v.report.find(s.kind(), s.first, s.last, s.message())
		}
		v.diverged = true
		return false
	}
	v.spine.explained()
	v.report.Settled = c.Size
	return agrees
}

// finish looks at what is left when the entries have ended.
func (v *verifier) finish() (Report, error) {
	end := v.due
	v.bridge(maxSeq)
	v.missing(end, v.due-1)
	for _, s := range v.spine.root().unlike {
		v.report.find(KindUnlike, s.first, s.last, "entry and stored hash differ, and no checkpoint tells which is right")
	}
	if v.most >= v.due {
		v.report.find(KindCut, v.due, v.most, "a checkpoint has them, and the log ends before")
	}
	for _, c := range v.ahead {
		v.report.Checkpoints = append(v.report.Checkpoints, Held{c, false})
	}
	if end-1 > v.most {
		v.report.find(KindUnsigned, v.most+1, end-1, "no checkpoint reaches them")
	}
	v.report.sort()
	return v.report, v.failed
}
