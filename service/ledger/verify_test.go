package ledger_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"rideout/service/ledger"
)

// found gives the findings as kind and range.
func found(r ledger.Report) []string {
	var list []string
	for _, f := range r.Findings {
		list = append(list, fmt.Sprintf("%s %d-%d", f.Kind, f.First, f.Last))
	}
	return list
}

func wantFound(t *testing.T, what string, r ledger.Report, want ...string) {
	t.Helper()
	if got := found(r); !slices.Equal(got, want) {
		t.Errorf("%s: found %v, want %v", what, got, want)
	}
}

func TestLogAsRecordedIsSound(t *testing.T) {
	t.Parallel()
	s := grown(t, 70)
	for size := int64(0); size <= 70; size++ {
		part := &store{s.entries[:size], s.hashes[:ledger.HashCount(size)]}
		checkpoints := []ledger.Checkpoint{s.at(t, size)}
		for n := size / 2; n > 0; n /= 2 {
			checkpoints = append(checkpoints, s.at(t, n), s.at(t, n)) // in any order, some twice
		}
		report := part.verified(t, checkpoints...)
		wantFound(t, fmt.Sprintf("%d entries", size), report)
		if !report.Sound() || report.Entries != size || report.Proven != size || report.Settled != size || report.Hashes != ledger.HashCount(size) {
			t.Errorf("%d entries: %+v", size, report)
		}
		if len(report.Checkpoints) != len(checkpoints) {
			t.Errorf("%d entries: %d checkpoints judged, want %d", size, len(report.Checkpoints), len(checkpoints))
		}
		for _, h := range report.Checkpoints {
			if !h.Agrees {
				t.Errorf("%d entries: the checkpoint of %d does not agree", size, h.Checkpoint.Size)
			}
		}
		log := ledger.Log{OrgID: org, Records: records(part.entries), Checkpoints: checkpoints}
		if report := verified(t, log); !report.Sound() || report.Proven != size {
			t.Errorf("%d entries without stored hashes: %+v", size, report)
		}
		for kept := range size { // the hashes of an earlier export
			log.Hashes = each(s.hashes[:ledger.HashCount(kept)])
			if report := verified(t, log); !report.Sound() || report.Proven != size {
				t.Errorf("%d entries with the hashes of %d: %+v", size, kept, report)
			}
		}
	}
}

const size = 45

// TestChangedEntriesAreNamed rewrites one, two and three entries and leaves the hashes.
func TestChangedEntriesAreNamed(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	s := grown(t, size)
	for range 2000 {
		part := s.copy()
		var want []int64
		for range 1 + r.IntN(3) {
			k := r.Int64N(size)
			if part.entries[k] == s.entries[k] {
				part.entries[k] = forged(part.entries[k], r)
				want = append(want, k+1)
			}
		}
		slices.Sort(want)
		report := part.verified(t, s.at(t, size), s.at(t, 1+r.Int64N(size)))
		var got []int64
		for _, f := range report.Findings {
			if f.Kind == ledger.KindChanged {
				for n := f.First; n <= f.Last; n++ {
					got = append(got, n)
				}
			} else if f.Kind != ledger.KindBackward {
				t.Errorf("entries %v changed: found %v", want, f)
			}
		}
		if !slices.Equal(got, want) || report.Settled != size || report.Proven >= want[0] {
			t.Errorf("entries %v changed: found %v, settled %d, proven %d", want, report.Findings, report.Settled, report.Proven)
		}
	}
}

// TestChangeFittedToSomeHashesIsNarrowed also rewrites the stored hashes above the entry, to ever greater subtrees.
func TestChangeFittedToSomeHashesIsNarrowed(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 4))
	const full = 64
	s := grown(t, full)
	for k := range int64(full) {
		for fitted := range 7 { // hashes from the leaf up that fit the change; 7 would be all
			part := s.copy()
			part.entries[k] = forged(part.entries[k], r)
			again := part.rehashed(t)
			for level := range fitted {
				index := storedAt(level, k>>level)
				part.hashes[index] = again.hashes[index]
			}
			first, last := k+1, k+1
			want := fmt.Sprintf("%s %d-%d", ledger.KindChanged, first, last)
			if fitted > 0 {
				first, last = k>>fitted<<fitted+1, (k>>fitted+1)<<fitted
				want = fmt.Sprintf("%s %d-%d", ledger.KindWithin, first, last)
			}
			report := part.verified(t, s.at(t, full))
			got := slices.DeleteFunc(found(report), func(f string) bool { return strings.HasPrefix(f, string(ledger.KindBackward)) })
			if !slices.Equal(got, []string{want}) {
				t.Errorf("entry %d changed, %d hashes fitted: found %v, want %s", k+1, fitted, got, want)
			}
		}
	}
}

// storedAt finds the index of a subtree by counting, as the package says it is written.
func storedAt(level int, n int64) int64 {
	last := (n+1)<<level - 1 // the entry that completes it, from 0
	index := int64(0)
	for k := range last {
		for index++; k&1 == 1; k >>= 1 {
			index++
		}
	}
	return index + int64(level)
}

// TestChangeFittedToAllHashesIsFoundByTheCheckpoint rewrites the whole store and has it signed anew.
func TestChangeFittedToAllHashesIsFoundByTheCheckpoint(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(5, 6))
	s := grown(t, size)
	kept := []ledger.Checkpoint{s.at(t, 8), s.at(t, 20), s.at(t, 33)}
	for k := range 33 {
		part := s.copy()
		part.entries[k].By = "somebody else"
		part.entries[k] = forged(part.entries[k], r)
		part = part.rehashed(t)
		low, high := 1, 8
		for _, c := range kept {
			if int(c.Size) <= k {
				low = int(c.Size) + 1
			} else {
				high = int(c.Size)
				break
			}
		}
		what := fmt.Sprintf("entry %d changed", k+1)
		report := part.verified(t, append(slices.Clone(kept), part.at(t, size))...)
		got := slices.DeleteFunc(found(report), func(f string) bool { return strings.HasPrefix(f, string(ledger.KindBackward)) })
		if want := fmt.Sprintf("%s %d-%d", ledger.KindWithin, low, high); !slices.Equal(got, []string{want}) {
			t.Errorf("%s: found %v, want %s", what, got, want)
		}
		if report.Proven != int64(low-1) {
			t.Errorf("%s: proven up to %d, want %d", what, report.Proven, low-1)
		}
		// Who kept the hashes with the last checkpoint is told the entry itself.
		log := ledger.Log{
			OrgID: org, Records: records(part.entries), Hashes: each(s.hashes[:ledger.HashCount(33)]),
			Checkpoints: append(slices.Clone(kept), part.at(t, size)),
		}
		report = verified(t, log)
		if first := report.Findings[0]; first.Kind == ledger.KindWithin && first.Last-first.First > 31 || !slices.ContainsFunc(report.Findings, func(f ledger.Finding) bool {
			return f.Kind == ledger.KindChanged && f.First == int64(k+1) && f.Last == f.First
		}) {
			t.Errorf("%s, hashes kept: found %v, want the entry named", what, report.Findings)
		}
	}
}

// TestDroppedEntriesAreNamed deletes one row, or a run of them.
func TestDroppedEntriesAreNamed(t *testing.T) {
	t.Parallel()
	s := grown(t, size)
	for k := int64(1); k <= size; k++ {
		for n := int64(1); n <= 5 && k+n-1 <= size; n++ {
			part := s.copy()
			part.entries = slices.Delete(part.entries, int(k-1), int(k+n-1))
			what := fmt.Sprintf("entries %d to %d dropped", k, k+n-1)
			report := part.verified(t, s.at(t, size))
			wantFound(t, what, report, fmt.Sprintf("missing %d-%d", k, k+n-1))
			if report.Settled != size || report.Proven != 0 || report.Checkpoints[0].Agrees {
				t.Errorf("%s: settled %d, proven %d", what, report.Settled, report.Proven)
			}
			// Without hashes the rest cannot be verified, but the gap is named, and what a checkpoint before it proves.
			log := ledger.Log{OrgID: org, Records: records(part.entries), Checkpoints: []ledger.Checkpoint{s.at(t, k-1), s.at(t, size)}}
			report = verified(t, log)
			kind := "missing"
			if k+n-1 == size {
				kind = "cut"
			}
			wantFound(t, what+" with the hashes", report, fmt.Sprintf("%s %d-%d", kind, k, k+n-1))
			if report.Proven != k-1 || report.Settled != k-1 {
				t.Errorf("%s with the hashes: settled %d, proven %d, want %d", what, report.Settled, report.Proven, k-1)
			}
		}
	}
}

// TestDroppedAndRenumberedIsFound closes the gap by giving the followers new numbers.
func TestDroppedAndRenumberedIsFound(t *testing.T) {
	t.Parallel()
	s := grown(t, size)
	for k := int64(1); k < size; k++ {
		part := s.copy()
		part.entries = slices.Delete(part.entries, int(k-1), int(k))
		renumber(part.entries)
		what := fmt.Sprintf("entry %d dropped, the others renumbered", k)
		wantFound(t, what, part.verified(t, s.at(t, size)), fmt.Sprintf("changed %d-%d", k, size-1), fmt.Sprintf("missing %d-%d", size, size))
		part = part.rehashed(t)
		report := part.verified(t, s.at(t, size/2), s.at(t, size), part.at(t, size-1))
		want := []string{fmt.Sprintf("within 1-%d", size/2), fmt.Sprintf("cut %d-%d", size, size)}
		if k > size/2 { // then the checkpoint between holds
			want = want[1:]
		}
		wantFound(t, what+" and hashed", report, want...)
	}
}

// TestExchangedEntriesAreNamed exchanges two, of the store and of the file.
func TestExchangedEntriesAreNamed(t *testing.T) {
	t.Parallel()
	s := grown(t, size)
	for i := int64(1); i < size; i++ {
		for j := i + 1; j <= size; j++ {
			part := s.copy()
			part.entries[i-1], part.entries[j-1] = part.entries[j-1], part.entries[i-1]
			what := fmt.Sprintf("%d and %d exchanged in the file", i, j)
			report := part.verified(t, s.at(t, size))
			if first := report.Findings[0]; first.Kind != ledger.KindMisplaced || first.First != i {
				t.Errorf("%s: found %v", what, report.Findings)
			}
			for _, f := range report.Findings { // of three in a row reversed, the middle one too is out of place
				if f.First != f.Last && j != i+2 || f.First < i || f.Last > j || report.Settled != size {
					t.Errorf("%s: found %v, settled %d", what, f, report.Settled)
				}
			}
			renumber(part.entries)
			part.entries[i-1].RecordedAt, part.entries[j-1].RecordedAt = s.entries[i-1].RecordedAt, s.entries[j-1].RecordedAt
			want := []string{fmt.Sprintf("changed %d-%d", i, i), fmt.Sprintf("changed %d-%d", j, j)}
			if j == i+1 {
				want = []string{fmt.Sprintf("changed %d-%d", i, j)}
			}
			wantFound(t, fmt.Sprintf("%d and %d exchanged", i, j), part.verified(t, s.at(t, size)), want...)
		}
	}
}

// TestAddedEntryIsFound puts one in anywhere, also behind the last.
func TestAddedEntryIsFound(t *testing.T) {
	t.Parallel()
	s := grown(t, size)
	for k := int64(1); k <= size+1; k++ {
		extra := change(k)
		extra.By = "nobody"
		if k > 1 {
			extra.RecordedAt = s.entries[k-2].RecordedAt
		}
		part := s.copy()
		part.entries = slices.Insert(part.entries, int(k-1), extra)
		what := fmt.Sprintf("one added as %d", k)
		report := part.verified(t, s.at(t, size))
		want := []string{fmt.Sprintf("changed %d-%d", k, k), fmt.Sprintf("misplaced %d-%d", k+1, k+1)}
		if k > size {
			want = []string{fmt.Sprintf("unsigned %d-%d", k, k)}
		}
		wantFound(t, what, report, want...)
		renumber(part.entries)
		report = part.verified(t, s.at(t, size))
		if k <= size {
			wantFound(t, what+", the others renumbered", report, fmt.Sprintf("changed %d-%d", k, size), fmt.Sprintf("unsigned %d-%d", size+1, size+1))
		}
		part = part.rehashed(t)
		report = part.verified(t, s.at(t, size/2), s.at(t, size), part.at(t, size+1))
		switch {
		case k <= size/2:
			wantFound(t, what+" and hashed", report, fmt.Sprintf("within 1-%d", size/2))
		case k <= size:
			wantFound(t, what+" and hashed", report, fmt.Sprintf("within %d-%d", size/2+1, size))
		default: // recorded and signed as any other
			wantFound(t, what+" and hashed", report)
		}
	}
}

// TestTailCutOffIsFound cuts entries alone, and entries with their hashes.
func TestTailCutOffIsFound(t *testing.T) {
	t.Parallel()
	s := grown(t, size)
	for n := int64(0); n < size; n++ {
		what := fmt.Sprintf("cut after %d", n)
		part := &store{s.entries[:n], s.hashes}
		report := part.verified(t, s.at(t, size))
		wantFound(t, what, report, fmt.Sprintf("missing %d-%d", n+1, size))
		if report.Settled != size {
			t.Errorf("%s: settled %d, want %d", what, report.Settled, size)
		}
		wantFound(t, what+", no checkpoint kept, the hashes left", part.verified(t, s.at(t, n)), fmt.Sprintf("missing %d-%d", n+1, size))
		part.hashes = s.hashes[:ledger.HashCount(n)]
		report = part.verified(t, s.at(t, n), s.at(t, size))
		wantFound(t, what+" with the hashes", report, fmt.Sprintf("cut %d-%d", n+1, size))
		if report.Proven != n || len(report.Checkpoints) != 2 || report.Checkpoints[1].Agrees {
			t.Errorf("%s with the hashes: %+v", what, report)
		}
		// Nothing in the store tells of it: this is what a checkpoint is kept outside for.
		wantFound(t, what+", no checkpoint kept", part.verified(t, part.at(t, n)))
	}
}

func TestTwoHistoriesSigned(t *testing.T) {
	t.Parallel()
	s := grown(t, 20)
	other := s.copy()
	other.entries[13].By = "somebody else"
	other = other.rehashed(t)
	wantFound(t, "two of a size", s.verified(t, s.at(t, 10), s.at(t, 20), other.at(t, 20)), "within 11-20", "fork 11-20")
	wantFound(t, "two of a size, the wrong one first", s.verified(t, other.at(t, 20), s.at(t, 10), s.at(t, 20)), "within 11-20", "fork 11-20")
	report := s.verified(t, s.at(t, 10), other.at(t, 15), s.at(t, 20))
	wantFound(t, "one between", report, "within 11-15")
	if report.Proven != 10 || report.Settled != 20 {
		t.Errorf("one between: proven %d, settled %d; want 10, 20", report.Proven, report.Settled)
	}
}

func TestStoredHashesAreNotTrusted(t *testing.T) {
	t.Parallel()
	s := grown(t, 20)
	for index := range s.hashes {
		part := s.copy()
		part.hashes[index][3] ^= 1
		report := part.verified(t, s.at(t, 20))
		if report.Proven != 20 || len(report.Findings) != 1 || report.Findings[0].Kind != ledger.KindHash {
			t.Errorf("hash %d altered: %+v", index, report)
		}
		report = part.verified(t, s.at(t, 3))
		if report.Proven != 3 || report.Sound() {
			t.Errorf("hash %d altered, most of it unsigned: %+v", index, report)
		}
		part.hashes[index] = ledger.Hash{}
		report = part.verified(t, s.at(t, 20))
		if report.Proven != 20 || len(report.Findings) != 1 || report.Findings[0].Kind != ledger.KindHash {
			t.Errorf("hash %d not there: %+v", index, report)
		}
		for k := range part.entries { // with an entry rewritten too, that entry lies within what is named
			worse := part.copy()
			worse.entries[k].By = "somebody else"
			report := worse.verified(t, s.at(t, 20))
			if !slices.ContainsFunc(report.Findings, func(f ledger.Finding) bool {
				return (f.Kind == ledger.KindChanged || f.Kind == ledger.KindWithin) && f.First <= int64(k+1) && f.Last >= int64(k+1)
			}) {
				t.Errorf("hash %d not there, entry %d changed: found %v", index, k+1, report.Findings)
			}
		}
	}
}

// TestWrongHashBesideAChange rewrites an entry and the stored hash of the one beside it: the pair's hash still tells which entry
// it was.
func TestWrongHashBesideAChange(t *testing.T) {
	t.Parallel()
	s := grown(t, 16)
	for k := range int64(16) {
		part := s.copy()
		part.entries[k].By = "somebody else"
		part.hashes[storedAt(0, k^1)][0] ^= 1
		wantFound(t, fmt.Sprintf("entry %d", k+1), part.verified(t, s.at(t, 16)), fmt.Sprintf("changed %d-%d", k+1, k+1))
	}
}

func TestWithoutCheckpointNothingIsProven(t *testing.T) {
	t.Parallel()
	s := grown(t, 6)
	report := s.verified(t)
	wantFound(t, "no checkpoint", report, "unsigned 1-6")
	s.entries[3].By = "somebody else"
	wantFound(t, "no checkpoint, one changed", s.verified(t), "unsigned 1-6", "unlike 4-4")
	if report.Proven != 0 {
		t.Errorf("proven up to %d, want 0", report.Proven)
	}
	wantFound(t, "nothing at all", (&store{}).verified(t))
}

// TestWhatWasSignedCanStillBeWrong signs a log with a time that runs backward, another's entry, and one that is malformed.
func TestWhatWasSignedCanStillBeWrong(t *testing.T) {
	t.Parallel()
	late := grown(t, 3)
	e := change(4)
	e.RecordedAt = late.entries[2].RecordedAt // at the same time is in order
	late.record(t, e)
	e = change(5)
	e.RecordedAt = late.entries[2].RecordedAt.Add(-time.Microsecond)
	late.record(t, e, change(6))
	wantFound(t, "time backward", late.verified(t, late.at(t, 6)), "backward 5-5")
	foreign := grown(t, 3)
	e = change(4)
	e.OrgID[0] ^= 1
	foreign.record(t, e)
	wantFound(t, "another's entry", foreign.verified(t, foreign.at(t, 4)), "foreign 4-4")
	malformed := grown(t, 5)
	root := malformed.at(t, 5)
	malformed.entries[2].Kind = "Plan"
	report := malformed.verified(t, root)
	wantFound(t, "a kind that cannot be", report, "malformed 3-3")
	if report.Settled != 5 || report.Proven != 0 {
		t.Errorf("a kind that cannot be: settled %d, proven %d; want 5, 0", report.Settled, report.Proven)
	}
}

// TestBodiesAndTexts erases one text, alters another, and gives a third for a commitment that the body does not hold.
func TestBodiesAndTexts(t *testing.T) {
	t.Parallel()
	salt := ledger.Salt{1, 2, 3}
	note := ledger.Text{Commitment: ledger.Commit("Ada was at the bow.", salt), Salt: salt, Text: "Ada was at the bow."}
	body := func(n int64) string { return fmt.Sprintf(`{"n":%d,"note":"%s"}`, n, note.Commitment) }
	s := &store{}
	var list []ledger.Record
	for n := int64(1); n <= 8; n++ {
		e := change(n)
		e.BodySHA256 = hexSHA256(body(n))
		s.record(t, e)
		list = append(list, ledger.Record{Entry: e, Body: []byte(body(n)), Texts: []ledger.Text{note}})
	}
	log := ledger.Log{OrgID: org, Records: each(list), Hashes: each(s.hashes), Checkpoints: []ledger.Checkpoint{s.at(t, 8)}}
	report := verified(t, log)
	wantFound(t, "all given", report)
	if report.Bodies != 8 || report.Texts != 8 {
		t.Errorf("%d bodies and %d texts, want 8 and 8", report.Bodies, report.Texts)
	}
	list[1].Texts = nil // erased
	list[2].Body, list[2].Texts = nil, nil
	list[3].Body = []byte(body(40))
	list[3].Texts = nil
	list[4].Texts[0].Text += " She slept."
	list[5].Texts = []ledger.Text{{Commitment: ledger.Commit("Bo", salt), Salt: salt, Text: "Bo"}}
	list[6].Body = nil
	list[7].Body = []byte{}
	list[7].Texts = nil
	report = verified(t, log)
	wantFound(t, "some altered", report, "body 4-4", "text 5-5", "text 6-6", "text 7-7", "body 8-8")
	if report.Bodies != 6 || report.Texts != 4 || report.Proven != 8 {
		t.Errorf("%d bodies, %d texts, proven %d; want 6, 4, 8", report.Bodies, report.Texts, report.Proven)
	}
}

// TestNothingButFaultsStaysSmall exchanges each entry with its neighbour, and rewrites every second one.
func TestNothingButFaultsStaysSmall(t *testing.T) {
	t.Parallel()
	const many = 3000
	s := grown(t, many)
	part := s.copy()
	for k := 0; k < many; k += 2 {
		part.entries[k], part.entries[k+1] = part.entries[k+1], part.entries[k]
	}
	report := part.verified(t, s.at(t, many))
	if len(report.Findings) != 100 || report.Left == 0 || report.Findings[0].First != 1 {
		t.Errorf("exchanged: %d findings, %d left, the first %v", len(report.Findings), report.Left, report.Findings[:1])
	}
	part = s.copy()
	for k := 0; k < many; k += 2 {
		part.entries[k].By = "somebody else"
	}
	report = part.verified(t, s.at(t, many))
	if len(report.Findings) != 100 || report.Findings[0].String() != "entry 1: not as signed" {
		t.Errorf("every second: %d findings, the first %v", len(report.Findings), report.Findings[:1])
	}
	if last := report.Findings[99]; last.Kind != ledger.KindWithin || last.Last < many-1 {
		t.Errorf("every second: the last finding is %v, want what is left put together", last)
	}
}

func TestNumberFarAwayEndsTheTree(t *testing.T) {
	t.Parallel()
	s := grown(t, 9)
	c := s.at(t, 9)
	s.entries[8].Seq = 1 << 47
	report := s.verified(t, s.at(t, 4), c)
	if report.Proven != 4 || report.Findings[0].First != 9 {
		t.Errorf("%+v", report)
	}
	s.entries = s.entries[8:]
	report = s.verified(t, s.at(t, 4), c)
	if report.Proven != 0 || report.Findings[0].First != 1 {
		t.Errorf("nothing before it: %+v", report)
	}
}

func TestCheckpointOfAnotherLogIsRefused(t *testing.T) {
	t.Parallel()
	s := grown(t, 3)
	c := s.at(t, 3)
	c.OrgID[0] ^= 1
	for name, c := range map[string]ledger.Checkpoint{
		"another organisation's": c, "of fewer than none": {OrgID: org, Size: -1}, "of too many": {OrgID: org, Size: 1 << 60},
	} {
		_, err := ledger.Verify(ledger.Log{OrgID: org, Records: records(s.entries), Checkpoints: []ledger.Checkpoint{c}})
		if !errors.Is(err, ledger.ErrMalformed) {
			t.Errorf("%s: error %v, want ErrMalformed", name, err)
		}
	}
}

func TestFindingReadsAsASentence(t *testing.T) {
	t.Parallel()
	for want, f := range map[string]ledger.Finding{
		"entry 7: missing from its place":        {Kind: ledger.KindMissing, First: 7, Last: 7, Message: "missing from its place"},
		"entries 7 to 9: missing from its place": {Kind: ledger.KindMissing, First: 7, Last: 9, Message: "missing from its place"},
		"entries 1 to 2: as it says":             {First: 1, Last: 2, Message: "as it says"},
	} {
		if got := f.String(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
