package service

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"time"

	"rideout/service/ledger"
)

// AuditSpan is a run of entries that is exported whole: those recorded from a time on and before another.
type AuditSpan struct{ First, Last int64 } // Last is First - 1 where there are none

// AuditName is the name of the file of an audit in a format.
func AuditName(f ledger.Format) string { return "audit." + string(f) }

// Span finds the entries recorded from a time on and before another; a zero time does not bound. The same times give the
// same entries ever after, so the end must have passed.
func (w *Witness) Span(ctx context.Context, org OrgID, from, before time.Time) (AuditSpan, error) {
	switch {
	case before.After(w.Clock()):
		return AuditSpan{}, &ParameterError{Name: "to", Message: "lies ahead", Fix: "send a time that has passed, or leave it out for all there is"}
	case !before.IsZero() && before.Before(from):
		return AuditSpan{}, &ParameterError{Name: "to", Message: "lies before from", Fix: "send a later time"}
	}
	first, last, err := w.Log.Span(ctx, org, from.UTC().Truncate(time.Microsecond), before.UTC().Truncate(time.Microsecond))
	return AuditSpan{first, last}, sorted(err)
}

// An audit is read in pages of about this size, however large the bodies are.
const (
	auditPage  = 1 << 20 // bytes
	fewestRows = 10
	mostRows   = 2000
)

// Write writes an audit page by page. No transaction is open while a page is written, so a slow writer holds nothing but
// the page. The same span has the same bytes ever after.
func (w *Witness) Write(ctx context.Context, org OrgID, span AuditSpan, f ledger.Format, write func([]byte) error) error {
	text, rows := ledger.AppendHead(nil, f), fewestRows
	for after := span.First - 1; after < span.Last; {
		var lines []ledger.Line
		err := w.Log.ReadLog(ctx, org, func(ctx context.Context, r LogReader) (err error) {
			lines, err = r.Lines(ctx, after, int(min(int64(rows), span.Last-after)))
			return err
		})
		if err != nil {
			return sorted(err)
		}
		if len(lines) == 0 || lines[len(lines)-1].Seq > span.Last { // what is missing is seen by whoever verifies
			break
		}
		for _, l := range lines {
			text = ledger.AppendLine(text, f, l)
		}
		after = lines[len(lines)-1].Seq
		rows = min(max(rows*auditPage/(len(text)+1), fewestRows), 2*rows, mostRows)
		if err := write(text); err != nil {
			return err
		}
		text = text[:0]
	}
	if len(text) == 0 {
		return nil
	}
	return write(text)
}

// Manifest says what is in an audit, and proves it by a checkpoint signed now. Since is the size of a checkpoint that the
// caller has kept, of which it is proven that the log has only grown; 0 is none.
func (w *Witness) Manifest(ctx context.Context, org OrgID, span AuditSpan, f ledger.Format, since int64) (ledger.Manifest, error) {
	sum := sha256.New()
	err := w.Write(ctx, org, span, f, func(text []byte) error {
		_, err := sum.Write(text)
		return err
	})
	if err != nil {
		return ledger.Manifest{}, err
	}
	c, err := w.Checkpoint(ctx, org)
	if err != nil {
		return ledger.Manifest{}, err
	}
	m := ledger.Manifest{
		Format: ledger.ManifestFormat, OrgID: org, FirstSeq: span.First, LastSeq: span.Last, Checkpoint: string(c.Note),
		Files: []ledger.File{{Name: AuditName(f), SHA256: hex.EncodeToString(sum.Sum(nil))}},
	}
	if since > c.Size {
		return ledger.Manifest{}, beyond("since", c.Size)
	}
	err = w.Log.ReadLog(ctx, org, func(ctx context.Context, r LogReader) error { return prove(&m, c.Size, since, r.StoredHashes(ctx)) })
	return m, sorted(err)
}

// prove puts the proofs into a manifest.
func prove(m *ledger.Manifest, size, since int64, hashes ledger.HashReader) (err error) {
	if m.Before, err = ledger.Before(m.FirstSeq-1, hashes); err != nil {
		return err
	}
	sizes := []int64{m.LastSeq}
	if since > 0 && since != m.LastSeq {
		sizes = append(sizes, since)
	}
	for _, from := range sizes {
		proof, err := ledger.ProveConsistency(from, size, hashes)
		if err != nil {
			return fmt.Errorf("manifest: %w", err)
		}
		m.Consistency = append(m.Consistency, ledger.Consistency{Size: from, Proof: append(ledger.Proof{}, proof...)})
	}
	return nil
}
