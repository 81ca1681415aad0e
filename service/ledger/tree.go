package ledger

import (
	"errors"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// HashReader reads stored hashes by their indexes and returns as many, in the same order, or an error. It is
// called at most once for an operation, with about twice as many indexes as the tree has levels at most.
type HashReader = tlog.HashReader

// HashReaderFunc is a function that reads hashes.
type HashReaderFunc = tlog.HashReaderFunc

// StoredHash is the hash of a complete subtree. Index numbers all of them in the order in which they are
// written, from 0 without gaps.
type StoredHash struct {
	Index int64
	Hash  Hash
}

// Proof is an audit path or a consistency proof (RFC 6962, 2.1.1 and 2.1.2).
type Proof []Hash

// Append gives what must be stored with an entry, in the transaction that records it: the hash of its leaf and those of the
// subtrees it completes, two on average. It reads the hashes of what stands to the left of it, none for every
// other entry.
func Append(e Entry, r HashReader) ([]StoredHash, error) {
	if err := e.Check(); err != nil {
		return nil, err
	}
	hashes, err := tlog.StoredHashesForRecordHash(e.Seq-1, e.Hash(), r)
	if err != nil {
		return nil, fmt.Errorf("append entry %d: %w", e.Seq, err)
	}
	stored := make([]StoredHash, len(hashes))
	for i, h := range hashes {
		stored[i] = StoredHash{tlog.StoredHashIndex(0, e.Seq-1) + int64(i), h}
	}
	return stored, nil
}

// HashCount gives how many hashes are stored for so many entries: those of the indexes below it.
func HashCount(size int64) int64 { return tlog.StoredHashCount(size) }

// Root computes the root of the tree of the first size entries.
func Root(size int64, r HashReader) (Hash, error) {
	if size < 0 || size > maxSeq {
		return Hash{}, fmt.Errorf("%w: a tree of %d entries", ErrRange, size)
	}
	root, err := tlog.TreeHash(size, r)
	if err != nil {
		return Hash{}, fmt.Errorf("root of %d entries: %w", size, err)
	}
	return root, nil
}

// ProveInclusion gives the proof that the tree of the first size entries has the entry of this number.
func ProveInclusion(seq, size int64, r HashReader) (Proof, error) {
	if seq < 1 || seq > size || size > maxSeq {
		return nil, fmt.Errorf("%w: entry %d of %d", ErrRange, seq, size)
	}
	p, err := tlog.ProveRecord(size, seq-1, r)
	if err != nil {
		return nil, fmt.Errorf("prove entry %d of %d: %w", seq, size, err)
	}
	return Proof(p), nil
}

// ProveConsistency gives the proof that the tree of the first to entries begins with that of the first from.
// Every tree begins with the empty one; its proof is empty.
func ProveConsistency(from, to int64, r HashReader) (Proof, error) {
	if from < 0 || from > to || to > maxSeq {
		return nil, fmt.Errorf("%w: %d entries of %d", ErrRange, from, to)
	}
	if from == 0 {
		return Proof{}, nil
	}
	p, err := tlog.ProveTree(to, from, r)
	if err != nil {
		return nil, fmt.Errorf("prove the first %d entries of %d: %w", from, to, err)
	}
	return Proof(p), nil
}

// CheckInclusion tells whether the proof shows that the log had this entry when the checkpoint was signed.
func CheckInclusion(e Entry, p Proof, c Checkpoint) error {
	if err := errors.Join(e.Check(), c.check()); err != nil {
		return err
	}
	if e.OrgID != c.OrgID || e.Seq > c.Size {
		return fmt.Errorf("%w: entry %d is not one of the checkpoint's %d", ErrRange, e.Seq, c.Size)
	}
	if err := tlog.CheckRecord(tlog.RecordProof(p), c.Size, c.Root, e.Seq-1, e.Hash()); err != nil {
		return fmt.Errorf("%w: entry %d of %d", ErrUnproven, e.Seq, c.Size)
	}
	return nil
}

// CheckConsistency tells whether the proof shows that the log of one checkpoint is the beginning of that of another.
func CheckConsistency(from, to Checkpoint, p Proof) error {
	if err := errors.Join(from.check(), to.check()); err != nil {
		return err
	}
	if from.OrgID != to.OrgID || from.Size > to.Size {
		return fmt.Errorf("%w: %d entries of %d", ErrRange, from.Size, to.Size)
	}
	if from.Size == 0 && len(p) == 0 { // check has seen to the roots
		return nil
	}
	if err := tlog.CheckTree(tlog.TreeProof(p), to.Size, to.Root, from.Size, from.Root); err != nil {
		return fmt.Errorf("%w: the first %d entries of %d", ErrUnproven, from.Size, to.Size)
	}
	return nil
}
