package ledger

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"iter"
	"time"
)

// Audit is an export of a run of entries, to be verified.
type Audit struct {
	Manifest   Manifest
	Checkpoint Checkpoint             // as Manifest.Check gives it
	Lines      iter.Seq2[Line, error] // in order; an ErrMalformed among them is a finding
	Kept       []Checkpoint           // kept outside
}

// VerifyAudit holds an audit against the checkpoint of its manifest, and that against those kept outside. The entries grow on
// the tree of what was before them, whose subtrees the manifest gives, and what comes of it is proven to be the beginning of
// what was signed. So nothing in the run was changed, dropped, added or moved. Where the leaves that stand beside the entries lead
// to what was signed and the entries do not, each entry that was changed is named.
//
// It reads everything once, in memory that does not grow.
func VerifyAudit(a Audit) (Report, error) {
	v := auditor{Audit: a, due: a.Manifest.FirstSeq}
	for _, g := range []**Growth{&v.computed, &v.given} {
		grown, err := GrowFrom(a.Manifest.FirstSeq-1, a.Manifest.Before)
		if err != nil {
			return Report{}, err
		}
		*g = grown
	}
	for line, err := range a.Lines {
		switch {
		case errors.Is(err, ErrMalformed):
			v.report.find(KindMalformed, v.due, v.due, err.Error())
			v.lost = true
		case err != nil:
			return Report{}, fmt.Errorf("verify: %w", err)
		default:
			v.take(line)
		}
	}
	v.finish()
	return v.report, nil
}

type auditor struct {
	Audit
	due             int64
	last            time.Time
	computed, given *Growth
	differ          []span // where an entry has another leaf than the one given
	lost            bool   // no root can be computed
	report          Report
}

func (v *auditor) take(l Line) {
	switch {
	case l.Seq < v.due:
		v.report.find(KindMisplaced, v.due, v.due, fmt.Sprintf("entry %d stands where this one is due", l.Seq))
		v.lost = true
		return
	case l.Seq > v.due:
		v.report.find(KindMissing, v.due, l.Seq-1, "missing from its place")
		v.lost = true
	}
	v.due = l.Seq + 1
	v.report.Entries++
	v.report.Hashes++
	if l.RecordedAt.Before(v.last) {
		v.report.find(KindBackward, l.Seq, l.Seq, fmt.Sprintf("its time %s is before that of the entry before", l.RecordedAt.UTC().Format(timeLayout)))
	}
	v.last = l.RecordedAt
	if l.Body != nil {
		v.report.Bodies++
		if sum := sha256.Sum256(l.Body); hex.EncodeToString(sum[:]) != l.BodySHA256 {
			v.report.find(KindBody, l.Seq, l.Seq, "its body is not the one that was entered")
		}
	}
	leaf := l.Hash()
	if leaf != l.Leaf {
		v.differ = addSpan(v.differ, span{l.Seq, l.Seq, true})
	}
	if !v.lost {
		v.computed.Add(leaf)
		v.given.Add(l.Leaf)
	}
}

func (v *auditor) finish() {
	m := v.Manifest
	if v.due <= m.LastSeq {
		v.report.find(KindCut, v.due, m.LastSeq, "the manifest has them, and the export ends before")
		v.lost = true
	}
	if v.due > m.LastSeq+1 {
		v.report.find(KindUnsigned, m.LastSeq+1, v.due-1, "the manifest does not reach them")
		v.lost = true
	}
	proves := func(g *Growth) bool {
		return m.Extends(v.Checkpoint, Checkpoint{m.OrgID, m.LastSeq, g.Root()}) == nil
	}
	sound := false
	switch {
	case v.lost:
		for _, s := range v.differ {
			v.report.find(KindUnlike, s.first, s.last, "entry and leaf differ, and nothing tells which is right")
		}
	case proves(v.computed):
		sound = true
		v.report.Proven, v.report.Settled = m.LastSeq, m.LastSeq
		for _, s := range v.differ {
			v.report.find(KindHash, s.first, s.last, "its leaf is wrong; the entry is as signed")
		}
	case proves(v.given):
		v.report.Settled = m.LastSeq
		for _, s := range v.differ {
			v.report.find(s.kind(), s.first, s.last, s.message())
		}
	default:
		v.report.find(KindWithin, m.FirstSeq, max(m.FirstSeq, m.LastSeq), "something among them, or before them, is not as signed")
	}
	v.report.Checkpoints = []Held{{v.Checkpoint, sound}}
	for _, kept := range v.Kept {
		v.hold(kept)
	}
	v.report.sort()
}

// hold holds the checkpoint of the manifest against one kept outside.
func (v *auditor) hold(kept Checkpoint) {
	now := v.Checkpoint
	agrees := kept == now
	if !agrees {
		switch err := v.Manifest.Extends(now, kept); {
		case kept.OrgID != now.OrgID:
			v.report.find(KindForeign, 1, kept.Size, "the checkpoint kept is another organisation's")
		case kept.Size > now.Size:
			v.report.find(KindUnsigned, now.Size+1, kept.Size, "the checkpoint kept is newer than the export; hold the log against it")
		case kept.Size == now.Size:
			v.report.find(KindFork, 1, kept.Size, "two checkpoints of this size were signed, and differ")
		case err == nil:
			agrees = true
		case !v.Manifest.has(kept.Size):
			v.report.find(KindUnsigned, 1, kept.Size, "the manifest has no proof for the checkpoint kept; ask for one with since")
		default:
			v.report.find(KindWithin, 1, kept.Size, "the log was signed with another history")
		}
	}
	v.report.Checkpoints = append(v.report.Checkpoints, Held{kept, agrees})
}
