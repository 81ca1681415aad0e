package servicetest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"time"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/ledger"
)

// enter enters what was told in the log.
func (b *book) enter(org service.OrgID, e service.Event, bodySHA256, by string) {
	entry := ledger.Entry{
		OrgID: org, Seq: e.Sequence, RecordedAt: e.At, Kind: string(e.Kind), EntityID: e.EntityID, Version: e.Version, BodySHA256: bodySHA256, By: by,
	}
	stored, err := ledger.Append(entry, b)
	if err != nil {
		panic(err) // a test records what no log takes
	}
	b.entries = append(b.entries, entry)
	for _, h := range stored {
		b.hashes = append(b.hashes, h.Hash)
	}
}

// ReadHashes reads hashes by their indexes.
func (b *book) ReadHashes(indexes []int64) ([]ledger.Hash, error) {
	found := make([]ledger.Hash, len(indexes))
	for i, index := range indexes {
		if index >= int64(len(b.hashes)) {
			return nil, service.ErrAltered
		}
		found[i] = b.hashes[index]
	}
	return found, nil
}

// Alter lets a test do what the owner of a database can.
func (h *History) Alter(org service.OrgID, alter func(entries *[]ledger.Entry, hashes *[]ledger.Hash)) {
	h.mu.Lock()
	defer h.mu.Unlock()
	b := h.bookOf(org)
	alter(&b.entries, &b.hashes)
}

// ReadLog reads the log.
func (h *History) ReadLog(ctx context.Context, org service.OrgID, read func(context.Context, service.LogReader) error) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.Err != nil {
		return h.Err
	}
	return read(ctx, h.bookOf(org))
}

// Checkpoint keeps the checkpoint that work gives.
func (h *History) Checkpoint(ctx context.Context, org service.OrgID, work func(context.Context, service.LogReader, ledger.Checkpoint) (ledger.Checkpoint, error)) error {
	return h.ReadLog(ctx, org, func(ctx context.Context, r service.LogReader) error {
		b, last := h.bookOf(org), ledger.Checkpoint{OrgID: org, Size: -1}
		if b.signed != nil {
			last = *b.signed
		}
		now, err := work(ctx, r, last)
		if err == nil {
			b.signed = &now
		}
		return err
	})
}

// Size is the number of entries.
func (b *book) Size(context.Context) (int64, error) { return int64(len(b.entries)), nil }

// Entries gives those after a number.
func (b *book) Entries(_ context.Context, after int64, limit int) ([]ledger.Entry, error) {
	return part(b.entries, after, limit), nil
}

// Hashes gives those from an index on.
func (b *book) Hashes(_ context.Context, first int64, limit int) ([]ledger.Hash, error) {
	return part(b.hashes, first, limit), nil
}

func part[T any](list []T, from int64, limit int) []T {
	n := int64(len(list))
	return list[min(from, n):min(from+int64(limit), n)]
}

// Lines gives lines after a number.
func (b *book) Lines(_ context.Context, after int64, limit int) (lines []ledger.Line, err error) {
	for _, e := range part(b.entries, after, limit) {
		lines = append(lines, ledger.Line{Record: ledger.Record{Entry: e, Body: b.bodies[e.Seq-1]}, Leaf: b.hashes[ledger.HashCount(e.Seq-1)]})
	}
	return lines, nil
}

// Span finds a run of entries.
func (h *History) Span(_ context.Context, org service.OrgID, from, before time.Time) (first, last int64, err error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	b := h.bookOf(org)
	if before.After(b.until) {
		b.until = before
	}
	first = 1
	for _, e := range b.entries {
		if e.RecordedAt.Before(from) {
			first = e.Seq + 1
		}
		if before.IsZero() || e.RecordedAt.Before(before) {
			last = e.Seq
		}
	}
	return first, max(last, first-1), h.Err
}

// StoredHashes reads hashes by their indexes.
func (b *book) StoredHashes(context.Context) ledger.HashReader { return b }

func hexSHA256(body []byte) string {
	sum := sha256.Sum256(body)
	return hex.EncodeToString(sum[:])
}

// happened enters a plan or a version in the log and tells of it.
func (b *book) happened(org service.OrgID, e service.Event, body []byte, by string) {
	e.Sequence = int64(len(b.events)) + 1
	b.events = append(b.events, e)
	b.bodies = append(b.bodies, body)
	b.enter(org, e, hexSHA256(body), by)
}

func (b *book) planned(org service.OrgID, p service.PlanRecord) {
	b.happened(org, service.Event{Kind: fleet.KindPlan, EntityID: p.ID, Version: 1, At: p.CreatedAt}, p.Answer, p.By)
}

// Fail lets every method return an error from now on.
func (h *History) Fail(err error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.Err = err
}
