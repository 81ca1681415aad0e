package ledger_test

import (
	"bufio"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"rideout/service/ledger"
)

// rightmost is all that a growing tree reads: of each level the hash written last.
type rightmost [49]ledger.Hash

func (r *rightmost) ReadHashes(indexes []int64) ([]ledger.Hash, error) {
	found := make([]ledger.Hash, len(indexes))
	for i, index := range indexes {
		level, _ := tlog.SplitStoredHashIndex(index)
		found[i] = r[level]
	}
	return found, nil
}

// long is the export of a log of so many entries, on disk.
type long struct {
	entries, hashes string
	checkpoint      ledger.Checkpoint
}

func written(tb testing.TB, size int64) long {
	tb.Helper()
	l := long{entries: filepath.Join(tb.TempDir(), "entries.txt"), hashes: filepath.Join(tb.TempDir(), "hashes.txt")}
	leaves, nodes := create(tb, l.entries), create(tb, l.hashes)
	tree := &rightmost{}
	var line []byte
	for n := int64(1); n <= size; n++ {
		e := change(n)
		stored, err := ledger.Append(e, tree)
		if err != nil {
			tb.Fatal(err)
		}
		for level, h := range stored {
			tree[level] = h.Hash
			line = ledger.AppendHash(line[:0], h.Hash)
			nodes.Write(line) // an error stays until Flush
		}
		line = ledger.AppendEntry(line[:0], e)
		leaves.Write(line)
	}
	if err := leaves.Flush(); err != nil {
		tb.Fatal(err)
	}
	if err := nodes.Flush(); err != nil {
		tb.Fatal(err)
	}
	root, err := ledger.Root(size, tree)
	if err != nil {
		tb.Fatal(err)
	}
	l.checkpoint = ledger.Checkpoint{OrgID: org, Size: size, Root: root}
	return l
}

func create(tb testing.TB, name string) *bufio.Writer {
	tb.Helper()
	f, err := os.Create(name)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { f.Close() })
	return bufio.NewWriter(f)
}

// verify reads the export from disk and calls watch at every entry.
func (l long) verify(tb testing.TB, watch func()) ledger.Report {
	tb.Helper()
	entries, hashes := open(tb, l.entries), open(tb, l.hashes)
	defer entries.Close()
	defer hashes.Close()
	return verified(tb, ledger.Log{
		OrgID: org, Hashes: ledger.Hashes(hashes), Checkpoints: []ledger.Checkpoint{l.checkpoint},
		Records: func(yield func(ledger.Record, error) bool) {
			for r, err := range ledger.Entries(entries) {
				watch()
				if !yield(r, err) {
					return
				}
			}
		},
	})
}

func open(tb testing.TB, name string) *os.File {
	tb.Helper()
	f, err := os.Open(name)
	if err != nil {
		tb.Fatal(err)
	}
	return f
}

// TestMemoryDoesNotGrowWithTheLog measures what is alive half way through a log and near the end of it. It is not parallel, so that
// nothing else is counted.
func TestMemoryDoesNotGrowWithTheLog(t *testing.T) {
	const size = 20000
	l := written(t, size)
	n := 0
	var half, end uint64
	report := l.verify(t, func() {
		switch n++; n {
		case size / 2:
			half = alive()
		case size:
			end = alive()
		}
	})
	if !report.Sound() || report.Entries != size || report.Proven != size {
		t.Errorf("%+v", report)
	}
	if end > half+64<<10 {
		t.Errorf("%d bytes are alive after %d entries, %d after %d", half, size/2, end, size)
	}
}

// TestLongLineTakesLittleMemory reads 64 MB without an end. It is not parallel either.
func TestLongLineTakesLittleMemory(t *testing.T) {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	n := 0
	for _, err := range ledger.Entries(io.LimitReader(endless{}, 64<<20)) {
		if n++; !errors.Is(err, ledger.ErrMalformed) {
			t.Errorf("error %v, want ErrMalformed", err)
		}
	}
	for _, err := range ledger.Hashes(io.LimitReader(endless{}, 64<<20)) {
		if !errors.Is(err, ledger.ErrMalformed) {
			t.Errorf("hashes: error %v, want ErrMalformed", err)
		}
		if n++; n > 1000 {
			break
		}
	}
	runtime.ReadMemStats(&after)
	if took := after.TotalAlloc - before.TotalAlloc; n < 2 || took > 4<<20 {
		t.Errorf("%d yielded, %d bytes taken", n, took)
	}
}

// endless is a text of one letter.
type endless struct{}

func (endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = 'x'
	}
	return len(p), nil
}

func alive() uint64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// BenchmarkVerify reads and verifies an export of a million entries from disk, and says how much memory the process had at most.
func BenchmarkVerify(b *testing.B) {
	const size = 1_000_000
	l := written(b, size)
	for b.Loop() {
		if report := l.verify(b, func() {}); !report.Sound() || report.Proven != size {
			b.Fatalf("%+v", report)
		}
	}
	b.ReportMetric(size*float64(b.N)/b.Elapsed().Seconds(), "entries/s")
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	b.ReportMetric(float64(m.Sys)/1e6, "MB")
}

// BenchmarkAppend is what a change costs besides reading and writing the hashes.
func BenchmarkAppend(b *testing.B) {
	tree := &rightmost{}
	for n := int64(1); b.Loop(); n++ {
		stored, err := ledger.Append(change(n), tree)
		if err != nil {
			b.Fatal(err)
		}
		for level, h := range stored {
			tree[level] = h.Hash
		}
	}
}
