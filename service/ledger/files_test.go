package ledger_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"rideout/service/ledger"
)

// entriesFile and hashesFile are the files of an export.
func (s *store) entriesFile() []byte {
	var file []byte
	for _, e := range s.entries {
		file = ledger.AppendEntry(file, e)
	}
	return file
}

func (s *store) hashesFile() []byte {
	var file []byte
	for _, h := range s.hashes {
		file = ledger.AppendHash(file, h)
	}
	return file
}

// readLog is the log of two files.
func readLog(entries, hashes []byte, checkpoints ...ledger.Checkpoint) ledger.Log {
	return ledger.Log{
		OrgID: org, Records: ledger.Entries(bytes.NewReader(entries)), Hashes: ledger.Hashes(bytes.NewReader(hashes)), Checkpoints: checkpoints,
	}
}

func TestFilesReadBack(t *testing.T) {
	t.Parallel()
	s := grown(t, 40)
	s.hashes[7] = ledger.Hash{}
	var entries []ledger.Entry
	for r, err := range ledger.Entries(iotest.OneByteReader(bytes.NewReader(s.entriesFile()))) {
		if err != nil {
			t.Fatal(err)
		}
		entries = append(entries, r.Entry)
	}
	if !slices.Equal(entries, s.entries) {
		t.Errorf("%d entries read back, want the %d written", len(entries), len(s.entries))
	}
	var hashes []ledger.Hash
	for h, err := range ledger.Hashes(iotest.OneByteReader(bytes.NewReader(s.hashesFile()))) {
		if err != nil {
			t.Fatal(err)
		}
		hashes = append(hashes, h)
	}
	if !slices.Equal(hashes, s.hashes) {
		t.Errorf("%d hashes read back, want the %d written", len(hashes), len(s.hashes))
	}
}

// TestReadingGoesOnAfterWhatCannotBeRead counts what is read and what is not.
func TestReadingGoesOnAfterWhatCannotBeRead(t *testing.T) {
	t.Parallel()
	one := string(ledger.AppendEntry(nil, change(1)))
	for _, c := range []struct {
		name, file string
		read, not  int
	}{
		{"nothing", "", 0, 0},
		{"an empty line more", one + "\n" + one, 2, 1},
		{"a line too long", one + strings.Repeat("x", 1e6) + "\n\n" + one, 2, 1},
		{"many lines", one + strings.Repeat("x\n", 1<<18) + "\n" + one, 2, 1},
		{"a line that fills the buffer", one + strings.Repeat("x", 1<<14) + "\n\n" + one, 2, 2},
		{"cut within", one + one[:100], 1, 1},
		{"cut at the end", one + one[:len(one)-1], 1, 1},
		{"cut within a long one", one + strings.Repeat("x", 1<<20), 1, 1},
		{"two grown together", one[:len(one)-1] + one, 0, 1},
	} {
		read, not := 0, 0
		for _, err := range ledger.Entries(strings.NewReader(c.file)) {
			switch {
			case err == nil:
				read++
			case errors.Is(err, ledger.ErrMalformed):
				not++
			default:
				t.Errorf("%s: error %v", c.name, err)
			}
		}
		if read != c.read || not != c.not {
			t.Errorf("%s: %d read, %d not; want %d, %d", c.name, read, not, c.read, c.not)
		}
	}
	hash := string(ledger.AppendHash(nil, change(1).Hash()))
	for _, c := range []struct {
		name, file string
		read, not  int
	}{
		{"nothing", "", 0, 0},
		{"an empty line", hash + "\n" + hash, 3, 0},
		{"no base64", hash + "x\n" + hash, 2, 1},
		{"a line too long, read in two", strings.Repeat("x", 20000) + "\n" + hash, 1, 2},
		{"cut", hash + hash[:44], 1, 1},
	} {
		read, not := 0, 0
		for _, err := range ledger.Hashes(strings.NewReader(c.file)) {
			switch {
			case err == nil:
				read++
			case errors.Is(err, ledger.ErrMalformed):
				not++
			default:
				t.Errorf("hashes, %s: error %v", c.name, err)
			}
		}
		if read != c.read || not != c.not {
			t.Errorf("hashes, %s: %d read, %d not; want %d, %d", c.name, read, not, c.read, c.not)
		}
	}
}

func TestReadingStops(t *testing.T) {
	t.Parallel()
	s := grown(t, 5)
	n := 0
	for range ledger.Entries(bytes.NewReader(s.entriesFile())) {
		if n++; n == 2 {
			break
		}
	}
	for range ledger.Hashes(bytes.NewReader(s.hashesFile())) {
		if n++; n == 4 {
			break
		}
	}
	if n != 4 {
		t.Errorf("%d were read, want 4", n)
	}
}

// TestReaderThatFailsEndsTheVerification holds that a file that cannot be read is not taken for one that was tampered with.
func TestReaderThatFailsEndsTheVerification(t *testing.T) {
	t.Parallel()
	s := grown(t, 5)
	broken := errors.New("broken")
	cut := func(file []byte) io.Reader {
		return io.MultiReader(bytes.NewReader(file[:len(file)/2]), iotest.ErrReader(broken))
	}
	log := readLog(s.entriesFile(), s.hashesFile(), s.at(t, 5))
	log.Records = ledger.Entries(cut(s.entriesFile()))
	if _, err := ledger.Verify(log); !errors.Is(err, broken) {
		t.Errorf("entries that cannot be read: error %v, want %v", err, broken)
	}
	for _, n := range []int{5, 2, 0} { // it fails among the entries, or after them
		log = readLog((&store{entries: s.entries[:n]}).entriesFile(), nil, s.at(t, 5))
		log.Hashes = ledger.Hashes(cut(s.hashesFile()))
		if _, err := ledger.Verify(log); !errors.Is(err, broken) {
			t.Errorf("hashes that cannot be read, %d entries: error %v, want %v", n, err, broken)
		}
	}
}

// owner tells in which entry of a file of entries a byte is, and whether it is in the empty line that ends it or the line's end before.
func owner(s *store, at int) (seq int64, edge bool) {
	for _, e := range s.entries {
		length := len(ledger.AppendEntry(nil, e))
		if at < length {
			return e.Seq, at >= length-2
		}
		at -= length
	}
	return 0, false
}

// TestAnyBitOfTheEntriesFlipped is found and named.
func TestAnyBitOfTheEntriesFlipped(t *testing.T) {
	t.Parallel()
	s := grown(t, 6)
	file, hashes, c := s.entriesFile(), s.hashesFile(), s.at(t, 6)
	for at := range file {
		for bit := range 8 {
			altered := bytes.Clone(file)
			altered[at] ^= 1 << bit
			report := verified(t, readLog(altered, hashes, c))
			checkNamed(t, s, report, at, fmt.Sprintf("byte %d, bit %d", at, bit))
		}
	}
}

// checkNamed wants the first finding at the entry that has the byte, and all other entries settled.
func checkNamed(t *testing.T, s *store, report ledger.Report, at int, what string) {
	t.Helper()
	seq, edge := owner(s, at)
	switch {
	case report.Sound():
		t.Errorf("%s: nothing was found", what)
	case report.Findings[0].First != seq:
		t.Errorf("%s: found %v; want entry %d named first", what, report.Findings, seq)
	case report.Settled != int64(len(s.entries)):
		t.Errorf("%s: settled up to %d, want %d", what, report.Settled, len(s.entries))
	}
	for _, f := range report.Findings {
		next := edge || f.Kind == ledger.KindBackward || f.Kind == ledger.KindUnsigned // what the byte made of the one after it
		if f.Last > seq && !(next && f.Last == seq+1) {
			t.Errorf("%s: found %v, which is of an entry after %d", what, f, seq)
		}
	}
}

// TestAnyByteOfTheEntriesDroppedOrAdded is found and named.
func TestAnyByteOfTheEntriesDroppedOrAdded(t *testing.T) {
	t.Parallel()
	s := grown(t, 6)
	file, hashes, c := s.entriesFile(), s.hashesFile(), s.at(t, 6)
	for at := range file {
		dropped := slices.Delete(bytes.Clone(file), at, at+1)
		checkNamed(t, s, verified(t, readLog(dropped, hashes, c)), at, fmt.Sprintf("byte %d dropped", at))
		for _, b := range []byte("\n 0") {
			added := slices.Insert(bytes.Clone(file), at, b)
			report := verified(t, readLog(added, hashes, c))
			seq, edge := owner(s, at)
			if first := report.Findings; len(first) == 0 || first[0].First != seq && !(edge && first[0].First == seq+1) {
				t.Errorf("%q added before byte %d: found %v; want entry %d named", b, at, report.Findings, seq)
			}
		}
		if report := verified(t, readLog(file[:at], nil, c)); report.Sound() {
			t.Errorf("the first %d bytes are sound", at)
		}
	}
}

// TestAnyBitOfTheHashesFlipped is found, and does not cast doubt on an entry.
func TestAnyBitOfTheHashesFlipped(t *testing.T) {
	t.Parallel()
	s := grown(t, 7)
	entries, file, c := s.entriesFile(), s.hashesFile(), s.at(t, 7)
	for at := range file {
		for bit := range 8 {
			altered := bytes.Clone(file)
			altered[at] ^= 1 << bit
			report := verified(t, readLog(entries, altered, c))
			if report.Sound() || report.Proven != 7 {
				t.Errorf("byte %d, bit %d: found %v, proven up to %d; want a finding, and 7", at, bit, report.Findings, report.Proven)
			}
			for _, f := range report.Findings {
				if f.Kind != ledger.KindHash && f.First <= 7 { // a line that was parted makes one too many
					t.Errorf("byte %d, bit %d: found %v, want only stored hashes", at, bit, f)
				}
			}
		}
	}
}
