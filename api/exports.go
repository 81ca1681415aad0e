package api

import (
	"context"
	"errors"
	"net/http"
	"time"

	"rideout/openapi"
	"rideout/service"
	"rideout/service/ledger"
)

// Names the generated server takes from the contract's types.
type (
	ExportAuditParams       = openapi.ExportAuditParams
	GetExportManifestParams = openapi.GetExportManifestParams
)

const (
	exportChunk    = 16 << 10    // bytes written at a time
	exportPatience = time.Minute // with a reader that takes nothing of a chunk
)

var exportTypes = map[ledger.Format]string{ledger.NDJSON: "application/x-ndjson", ledger.CSV: "text/csv; charset=utf-8; header=present"}

func formatOf[T ~string](asked *T) ledger.Format { return ledger.Format(or(asked, T(ledger.NDJSON))) }

func (h handlers) ExportAudit(ctx context.Context, r ExportAuditRequestObject) (ExportAuditResponseObject, error) {
	span, err := h.witness.Span(ctx, org(ctx), utc(r.Params.From), utc(r.Params.To))
	if err != nil {
		return nil, err
	}
	done, err := h.streams.open(whose(ctx))
	if err != nil {
		return nil, err
	}
	return audit{h, ctx, span, formatOf(r.Params.Format), done}, nil
}

// audit is an answer that goes out page by page. While a page is written no connection to the store is held.
type audit struct {
	handlers
	ctx    context.Context
	span   service.AuditSpan
	format ledger.Format
	close  func()
}

// errNoLonger says that a key or a token has ended while an answer to it went out.
var errNoLonger = errors.New("the key or token has ended")

// VisitExportAuditResponse writes until the end, as long as who asked may. What cannot be finished is cut, so that nobody takes it
// for whole.
func (a audit) VisitExportAuditResponse(w http.ResponseWriter) error {
	defer a.close()
	out, head := alive(a.ctx)
	header := w.Header()
	header.Set("Content-Type", exportTypes[a.format])
	header.Set("Content-Disposition", `attachment; filename="`+service.AuditName(a.format)+`"`)
	header.Set("Cache-Control", "no-store")
	header.Set("X-Accel-Buffering", "no") // a proxy must not keep it back
	out.WriteHeader(http.StatusOK)
	if head {
		return nil
	}
	_ = http.NewResponseController(out).SetReadDeadline(time.Time{}) // a test's writer knows none
	look := a.now().Add(keyKept)
	err := a.witness.Write(a.ctx, org(a.ctx), a.span, a.format, func(text []byte) error {
		for len(text) > 0 {
			if now := a.now(); !now.Before(look) {
				if !a.stands(a.ctx) {
					return errNoLonger
				}
				look = now.Add(keyKept)
			}
			n := min(exportChunk, len(text))
			if err := sendWithin(out, text[:n], exportPatience); err != nil {
				return err
			}
			text = text[n:]
		}
		return nil
	})
	if err != nil {
		a.log.WarnContext(a.ctx, "export cut", "error", err)
		panic(http.ErrAbortHandler)
	}
	return nil
}

func (h handlers) GetExportManifest(ctx context.Context, r GetExportManifestRequestObject) (GetExportManifestResponseObject, error) {
	span, err := h.witness.Span(ctx, org(ctx), utc(r.Params.From), utc(r.Params.To))
	if err != nil {
		return nil, err
	}
	done, err := h.streams.open(whose(ctx))
	if err != nil {
		return nil, err
	}
	defer done()
	m, err := h.witness.Manifest(ctx, org(ctx), span, formatOf(r.Params.Format), or(r.Params.Since, 0))
	if err != nil {
		return nil, err
	}
	return fresh(m)
}

func (d document) VisitGetExportManifestResponse(w http.ResponseWriter) error { return d.write(w) }
