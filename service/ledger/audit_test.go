package ledger_test

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"rideout/service/ledger"
)

func TestGrowthIsTheTree(t *testing.T) {
	t.Parallel()
	const size = 70
	s := grown(t, size)
	for first := int64(0); first <= size; first++ {
		before, err := ledger.Before(first, s)
		if err != nil {
			t.Fatal(err)
		}
		g, err := ledger.GrowFrom(first, before)
		if err != nil {
			t.Fatal(err)
		}
		for n := first; ; n++ {
			if want := s.at(t, n).Root; g.Root() != want || g.Size() != n {
				t.Fatalf("from %d to %d: root %v of %d, want %v", first, n, g.Root(), g.Size(), want)
			}
			if n == size {
				break
			}
			g.Add(s.entries[n].Hash())
		}
		if _, err := ledger.GrowFrom(first, append(before, ledger.Hash{})); !errors.Is(err, ledger.ErrMalformed) {
			t.Errorf("one subtree too many: error %v", err)
		}
	}
}

// audited is the audit of the entries first to last of a log, signed at its end, for somebody who kept a checkpoint.
func audited(t *testing.T, s *store, first, last, kept int64) ledger.Audit {
	t.Helper()
	size := int64(len(s.entries))
	m := ledger.Manifest{Format: ledger.ManifestFormat, OrgID: org, FirstSeq: first, LastSeq: last}
	var err error
	if m.Before, err = ledger.Before(first-1, s); err != nil {
		t.Fatal(err)
	}
	for _, from := range []int64{last, kept} {
		proof, err := ledger.ProveConsistency(from, size, s)
		if err != nil {
			t.Fatal(err)
		}
		m.Consistency = append(m.Consistency, ledger.Consistency{Size: from, Proof: proof})
	}
	return ledger.Audit{Manifest: m, Checkpoint: s.at(t, size), Kept: []ledger.Checkpoint{s.at(t, kept)}, Lines: each(linesOf(s, first, last))}
}

func linesOf(s *store, first, last int64) (lines []ledger.Line) {
	for n := first; n <= last; n++ {
		lines = append(lines, ledger.Line{
			Record: ledger.Record{Entry: s.entries[n-1], Body: []byte(bodyOf(n))}, Leaf: s.hashes[storedAt(0, n-1)],
		})
	}
	return lines
}

func auditOf(t *testing.T, a ledger.Audit) ledger.Report {
	t.Helper()
	report, err := ledger.VerifyAudit(a)
	if err != nil {
		t.Fatal(err)
	}
	return report
}

func TestEachRunIsProven(t *testing.T) {
	t.Parallel()
	const size = 20
	s := grown(t, size)
	for first := int64(1); first <= size; first++ {
		for last := first - 1; last <= size; last++ {
			for _, kept := range []int64{0, 1, 7, 16, size} {
				report := auditOf(t, audited(t, s, first, last, kept))
				wantFound(t, fmt.Sprintf("%d to %d, %d kept", first, last, kept), report)
				if report.Proven != last || report.Entries != last-first+1 || !report.Checkpoints[1].Agrees {
					t.Errorf("%d to %d, %d kept: %+v", first, last, kept, report)
				}
			}
		}
	}
}

func TestWhatIsWrongInARunIsNamed(t *testing.T) {
	t.Parallel()
	s := grown(t, 20)
	other := s.copy()
	other.entries[3].By = "somebody else"
	other = other.rehashed(t)
	alter := func(change func(*ledger.Audit, []ledger.Line) []ledger.Line) ledger.Audit {
		a := audited(t, s, 5, 14, 7)
		a.Lines = each(change(&a, linesOf(s, 5, 14)))
		return a
	}
	for name, c := range map[string]struct {
		audit ledger.Audit
		want  []string
	}{
		"one changed": {alter(func(_ *ledger.Audit, l []ledger.Line) []ledger.Line { l[3].By = "x"; return l }), []string{"changed 8-8"}},
		"two changed": {alter(func(_ *ledger.Audit, l []ledger.Line) []ledger.Line { l[3].Version = 9; l[7].By = "x"; return l }), []string{"changed 8-8", "changed 12-12"}},
		"one changed and its leaf": {alter(func(_ *ledger.Audit, l []ledger.Line) []ledger.Line {
			l[3].By = "x"
			l[3].Leaf = l[3].Hash()
			return l
		}), []string{"within 5-14"}},
		"a leaf":       {alter(func(_ *ledger.Audit, l []ledger.Line) []ledger.Line { l[3].Leaf[0] ^= 1; return l }), []string{"hash 8-8"}},
		"a body":       {alter(func(_ *ledger.Audit, l []ledger.Line) []ledger.Line { l[3].Body = []byte("{}"); return l }), []string{"body 8-8"}},
		"dropped":      {alter(func(_ *ledger.Audit, l []ledger.Line) []ledger.Line { return slices.Delete(l, 3, 4) }), []string{"missing 8-8"}},
		"dropped tail": {alter(func(_ *ledger.Audit, l []ledger.Line) []ledger.Line { return l[:8] }), []string{"cut 13-14"}},
		"one more":     {alter(func(_ *ledger.Audit, l []ledger.Line) []ledger.Line { return append(l, linesOf(s, 15, 15)...) }), []string{"unsigned 15-15"}},
		"twice":        {alter(func(_ *ledger.Audit, l []ledger.Line) []ledger.Line { return slices.Insert(l, 3, l[2]) }), []string{"misplaced 8-8"}},
		"before it":    {alter(func(a *ledger.Audit, l []ledger.Line) []ledger.Line { a.Manifest.Before[0][0] ^= 1; return l }), []string{"within 5-14"}},
		"another history kept": {alter(func(a *ledger.Audit, l []ledger.Line) []ledger.Line {
			a.Kept[0] = other.at(t, 7)
			return l
		}), []string{"within 1-7"}},
		"another history of the size": {alter(func(a *ledger.Audit, l []ledger.Line) []ledger.Line {
			a.Kept[0] = other.at(t, 20)
			return l
		}), []string{"fork 1-20"}},
		"a newer one kept": {alter(func(a *ledger.Audit, l []ledger.Line) []ledger.Line {
			a.Kept[0].Size = 21
			return l
		}), []string{"unsigned 21-21"}},
		"no proof for the one kept": {alter(func(a *ledger.Audit, l []ledger.Line) []ledger.Line {
			a.Kept[0] = s.at(t, 9)
			return l
		}), []string{"unsigned 1-9"}},
	} {
		wantFound(t, name, auditOf(t, c.audit), c.want...)
	}
}

// TestLinesReadAsWritten writes bodies and names that need quoting in both formats.
func TestLinesReadAsWritten(t *testing.T) {
	t.Parallel()
	s := grown(t, 6)
	lines := linesOf(s, 1, 6)
	lines[1].Body = []byte("{\n\t\"a\": \"\\u0000 å\"}\n")
	lines[2].Body = []byte(`{"a":"x, \"y\"", "b": 1e400}`)
	lines[3].By = `Bo, "the" mate`
	lines[4].Body = []byte("no JSON")
	lines[5].By = "=1+1"
	lines = append(lines, linesOf(s, 1, 4)...)
	lines[6].Body = nil
	lines[7].Body = []byte{}
	lines[8].Body = []byte("{}\r\n{\"a\":\r1}")
	lines[9].Body = []byte(`"a text"`)
	lines = append(lines, linesOf(s, 1, 1)...)
	lines[10].Body = []byte(` {"a": 1} `)
	for _, f := range []ledger.Format{ledger.NDJSON, ledger.CSV} {
		text := ledger.AppendHead(nil, f)
		for _, l := range lines {
			text = ledger.AppendLine(text, f, l)
		}
		n := 0
		for l, err := range ledger.Lines(bytes.NewReader(text), f, org) {
			if err != nil {
				t.Fatalf("%s: %v in\n%s", f, err, text)
			}
			if want := lines[n]; l.Entry != want.Entry || l.Leaf != want.Leaf || !bytes.Equal(l.Body, want.Body) || (l.Body == nil) != (want.Body == nil) {
				t.Errorf("%s: line %d reads as %+v %s, want %+v %s", f, n, l, l.Body, want, want.Body)
			}
			n++
		}
		if n != len(lines) {
			t.Errorf("%s: %d lines, want %d", f, n, len(lines))
		}
		for _, cut := range []string{"x", `{"seq":"x"}`, strings.Repeat(",", 8), `{"seq":1}`} {
			for _, err := range ledger.Lines(strings.NewReader(cut+"\n"), f, org) {
				if !errors.Is(err, ledger.ErrMalformed) {
					t.Errorf("%s: %q: error %v, want ErrMalformed", f, cut, err)
				}
			}
		}
	}
}

// FuzzLines reads lines that are anything, and writes and reads again what could be read.
func FuzzLines(f *testing.F) {
	s := grown(f, 3)
	for _, format := range []ledger.Format{ledger.NDJSON, ledger.CSV} {
		text := ledger.AppendHead(nil, format)
		for _, l := range linesOf(s, 1, 3) {
			text = ledger.AppendLine(text, format, l)
		}
		f.Add(text, format == ledger.CSV)
	}
	f.Fuzz(func(t *testing.T, text []byte, isCSV bool) {
		format := ledger.NDJSON
		if isCSV {
			format = ledger.CSV
		}
		for l, err := range ledger.Lines(bytes.NewReader(text), format, org) {
			if err != nil {
				continue
			}
			again := ledger.AppendLine(ledger.AppendHead(nil, format), format, l)
			n := 0
			for read, err := range ledger.Lines(bytes.NewReader(again), format, org) {
				if n++; err != nil || read.Entry != l.Entry || read.Leaf != l.Leaf || !bytes.Equal(read.Body, l.Body) {
					t.Errorf("%q reads as %+v, %v; want %+v", again, read, err, l)
				}
			}
			if n != 1 {
				t.Errorf("%q: %d lines, want 1", again, n)
			}
		}
	})
}
