package service

import (
	"context"
	"errors"
	"fmt"
	"time"

	"rideout/service/ledger"
)

// LogReader reads an organisation's log.
type LogReader interface {
	// Size is the number of entries. All of them can be seen, and their hashes.
	Size(ctx context.Context) (int64, error)
	// Entries returns at most limit entries with a number greater than after, in order.
	Entries(ctx context.Context, after int64, limit int) ([]ledger.Entry, error)
	// Hashes returns at most limit stored hashes from an index on, in order; one that is not there is the zero value.
	Hashes(ctx context.Context, first int64, limit int) ([]ledger.Hash, error)
	// Lines returns at most limit lines of an audit after a number, in order. A body that is not there is nil.
	Lines(ctx context.Context, after int64, limit int) ([]ledger.Line, error)
	// StoredHashes reads stored hashes by their indexes. It returns ErrAltered for one that should be there and is not.
	StoredHashes(ctx context.Context) ledger.HashReader
}

// Log keeps the entries of changes, the hashes over them, and what was signed.
type Log interface {
	// ReadLog returns ErrNotFound for an unknown organisation.
	ReadLog(ctx context.Context, org OrgID, read func(context.Context, LogReader) error) error
	// Checkpoint keeps the checkpoint that work gives, if it is another than the last one kept, which work is told; one of
	// the size -1 says that there is none. Nobody else does so at the same time, and it is kept when Checkpoint returns.
	Checkpoint(ctx context.Context, org OrgID, work func(context.Context, LogReader, ledger.Checkpoint) (ledger.Checkpoint, error)) error
	// Span finds the first and the last entry recorded from a time on and before another, and sees to it that no more will
	// be; a zero time does not bound. Where there are none, last is one less than first.
	Span(ctx context.Context, org OrgID, from, before time.Time) (first, last int64, err error)
}

// Witness is the use cases on the log. Log and Clock must be set; without a Signer nothing is signed. It is safe for
// concurrent use.
type Witness struct {
	Log    Log
	Clock  func() time.Time
	Signer ledger.Signer
}

// SignedCheckpoint is a checkpoint with its signed text.
type SignedCheckpoint struct {
	ledger.Checkpoint
	Note []byte
}

// Checkpoint signs the log as it is now, once it has been held against the last checkpoint signed: never are two signed
// that no consistency proof leads between. That finds a log whose hashes were rewritten or cut since. It does not find
// what was done to the kept checkpoint as well, as a restored backup does: one kept outside finds that.
func (w *Witness) Checkpoint(ctx context.Context, org OrgID) (SignedCheckpoint, error) {
	if w.Signer == (ledger.Signer{}) {
		return SignedCheckpoint{}, &Error{Kind: KindUnsigned, Message: "this service has no key to sign the log with"}
	}
	var now ledger.Checkpoint
	err := w.Log.Checkpoint(ctx, org, func(ctx context.Context, r LogReader, last ledger.Checkpoint) (ledger.Checkpoint, error) {
		var err error
		if now, err = checkpointOf(ctx, r, org); err == nil {
			err = holdAgainst(last, now, r.StoredHashes(ctx))
		}
		return now, err
	})
	if err != nil {
		return SignedCheckpoint{}, sorted(err)
	}
	note, err := w.Signer.Sign(now)
	return SignedCheckpoint{now, note}, err
}

func checkpointOf(ctx context.Context, r LogReader, org OrgID) (ledger.Checkpoint, error) {
	size, err := r.Size(ctx)
	if err != nil {
		return ledger.Checkpoint{}, err
	}
	root, err := ledger.Root(size, r.StoredHashes(ctx))
	return ledger.Checkpoint{OrgID: org, Size: size, Root: root}, err
}

// holdAgainst demands that the log of the last checkpoint is the beginning of the one now.
func holdAgainst(last, now ledger.Checkpoint, hashes ledger.HashReader) error {
	if last.Size < 0 {
		return nil
	}
	if last.Size > now.Size {
		return fmt.Errorf("%w: it has %d entries, and %d were signed", ErrAltered, now.Size, last.Size)
	}
	proof, err := ledger.ProveConsistency(last.Size, now.Size, hashes)
	if err != nil {
		return err
	}
	if err := ledger.CheckConsistency(last, now, proof); err != nil {
		return fmt.Errorf("%w: the first %d entries are not those signed: %w", ErrAltered, last.Size, err)
	}
	return nil
}

// EntryPage is entries in order, and how many there are in all.
type EntryPage struct {
	Items []ledger.Entry
	Size  int64
}

// Entries returns at most limit entries after a number.
func (w *Witness) Entries(ctx context.Context, org OrgID, after int64, limit int) (page EntryPage, err error) {
	err = w.Log.ReadLog(ctx, org, func(ctx context.Context, r LogReader) error {
		if page.Size, err = r.Size(ctx); err != nil {
			return err
		}
		page.Items, err = r.Entries(ctx, after, limit)
		return err
	})
	return page, sorted(err)
}

// HashPage is stored hashes in the order of their indexes, and how many there are in all.
type HashPage struct {
	Items []ledger.Hash
	Count int64
}

// Hashes returns at most limit stored hashes from an index on.
func (w *Witness) Hashes(ctx context.Context, org OrgID, first int64, limit int) (page HashPage, err error) {
	err = w.Log.ReadLog(ctx, org, func(ctx context.Context, r LogReader) error {
		size, err := r.Size(ctx)
		if err != nil {
			return err
		}
		page.Count = ledger.HashCount(size)
		page.Items, err = r.Hashes(ctx, first, limit)
		return err
	})
	return page, sorted(err)
}

// Inclusion is a proof that the tree of so many entries has one of them.
type Inclusion struct {
	Entry ledger.Entry
	Size  int64
	Root  ledger.Hash
	Proof ledger.Proof
}

// ProveInclusion proves that the first size entries have one of them; a size of 0 is all there are.
func (w *Witness) ProveInclusion(ctx context.Context, org OrgID, seq, size int64) (p Inclusion, err error) {
	err = w.Log.ReadLog(ctx, org, func(ctx context.Context, r LogReader) error {
		all, err := r.Size(ctx)
		if err != nil {
			return err
		}
		if p.Size = size; size == 0 {
			p.Size = all
		}
		switch {
		case p.Size > all:
			return beyond("size", all)
		case seq > p.Size:
			return beyond("seq", p.Size)
		}
		entries, err := r.Entries(ctx, seq-1, 1)
		if err != nil {
			return err
		}
		if len(entries) == 0 || entries[0].Seq != seq {
			return fmt.Errorf("%w: entry %d is not there", ErrAltered, seq)
		}
		p.Entry = entries[0]
		if p.Root, err = ledger.Root(p.Size, r.StoredHashes(ctx)); err != nil {
			return err
		}
		p.Proof, err = ledger.ProveInclusion(seq, p.Size, r.StoredHashes(ctx))
		return err
	})
	return p, sorted(err)
}

// Consistency is a proof that the tree of so many entries begins with that of fewer.
type Consistency struct {
	From, To         int64
	FromRoot, ToRoot ledger.Hash
	Proof            ledger.Proof
}

// ProveConsistency proves that the first to entries begin with the first from; to 0 is all there are.
func (w *Witness) ProveConsistency(ctx context.Context, org OrgID, from, to int64) (p Consistency, err error) {
	err = w.Log.ReadLog(ctx, org, func(ctx context.Context, r LogReader) error {
		all, err := r.Size(ctx)
		if err != nil {
			return err
		}
		if p.From, p.To = from, to; to == 0 {
			p.To = all
		}
		switch {
		case p.To > all:
			return beyond("to", all)
		case p.From > p.To:
			return beyond("from", p.To)
		}
		hashes := r.StoredHashes(ctx)
		var errs [3]error
		p.FromRoot, errs[0] = ledger.Root(p.From, hashes)
		p.ToRoot, errs[1] = ledger.Root(p.To, hashes)
		p.Proof, errs[2] = ledger.ProveConsistency(p.From, p.To, hashes)
		return errors.Join(errs[:]...)
	})
	return p, sorted(err)
}

func beyond(name string, most int64) error {
	return &ParameterError{Name: name, Message: fmt.Sprintf("is beyond the %d there are", most), Fix: fmt.Sprintf("send %d or less", most)}
}

// PublicKey gives the key that checkpoints are verified with.
func (w *Witness) PublicKey() (string, error) {
	if w.Signer == (ledger.Signer{}) {
		return "", &Error{Kind: KindUnsigned, Message: "this service has no key to sign the log with"}
	}
	return w.Signer.Public(), nil
}
