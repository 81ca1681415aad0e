package ledger

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"iter"
)

const (
	maxLeaf   = 1024 // bytes, more than any entry takes
	readAhead = 16 << 10
)

// AppendEntry appends an entry as it stands in a file of entries.
func AppendEntry(b []byte, e Entry) []byte { return append(e.appendLeaf(b), '\n') }

// Entries reads a file of entries, without their bodies. It yields ErrMalformed for each that cannot be read and goes
// on with the next; any other error is the reader's and the last. It uses little memory, whatever is in the file.
func Entries(r io.Reader) iter.Seq2[Record, error] {
	return func(yield func(Record, error) bool) {
		lines := bufio.NewReaderSize(r, readAhead)
		var leaf []byte
		for {
			line, err := lines.ReadSlice('\n')
			switch end := errors.Is(err, io.EOF); {
			case err != nil && !end && !errors.Is(err, bufio.ErrBufferFull):
				yield(Record{}, fmt.Errorf("read entries: %w", err))
				return
			case string(line) == "\n":
				e, err := ParseEntry(leaf)
				if !yield(Record{Entry: e}, err) {
					return
				}
				leaf = leaf[:0]
			case !end && len(leaf) <= maxLeaf: // what is longer is no entry, whatever follows
				leaf = append(leaf, line...)
			case end && len(leaf)+len(line) > 0:
				yield(Record{}, fmt.Errorf("%w: the file ends within an entry", ErrMalformed))
				return
			case end:
				return
			}
		}
	}
}

// AppendHash appends a hash as it stands in a file of hashes; the zero value as one that is not there.
func AppendHash(b []byte, h Hash) []byte {
	if h != (Hash{}) {
		b = append(b, h.String()...)
	}
	return append(b, '\n')
}

// Hashes reads a file of hashes. A hash that is not there is the zero value. It yields ErrMalformed for each that cannot be
// read and goes on with the next; any other error is the reader's and the last.
func Hashes(r io.Reader) iter.Seq2[Hash, error] {
	return func(yield func(Hash, error) bool) {
		lines := bufio.NewReaderSize(r, readAhead)
		for {
			line, err := lines.ReadSlice('\n')
			if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, bufio.ErrBufferFull) {
				yield(Hash{}, fmt.Errorf("read hashes: %w", err))
				return
			}
			if errors.Is(err, io.EOF) && len(line) == 0 {
				return
			}
			if !yield(hashOf(line)) {
				return
			}
		}
	}
}

// hashOf reads a line. One without its newline was cut.
func hashOf(line []byte) (Hash, error) {
	text, ok := bytes.CutSuffix(line, []byte("\n"))
	switch {
	case !ok:
		return Hash{}, fmt.Errorf("%w: a line of %d bytes without an end", ErrMalformed, len(line))
	case len(text) == 0:
		return Hash{}, nil
	}
	return parseHash(text)
}
