package api

import (
	"context"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"github.com/google/uuid"

	"rideout/openapi"
	"rideout/service/ledger"
)

// Names the generated server takes from the contract's types.
type (
	ListLogEntriesParams      = openapi.ListLogEntriesParams
	ListLogHashesParams       = openapi.ListLogHashesParams
	GetInclusionProofParams   = openapi.GetInclusionProofParams
	GetConsistencyProofParams = openapi.GetConsistencyProofParams
)

const (
	plainText        = "text/plain"
	defaultLogLimit  = 200
	defaultHashLimit = 1000
)

// lines is an answer of text.
func lines(body []byte) document {
	d := read(body)
	d.kind = plainText + "; charset=utf-8"
	return d
}

type checkpointAnswer struct {
	OrgID      uuid.UUID   `json:"org_id"`
	Size       int64       `json:"size"`
	Root       ledger.Hash `json:"root"`
	Checkpoint string      `json:"checkpoint"`
}

func (h handlers) GetCheckpoint(ctx context.Context, _ GetCheckpointRequestObject) (GetCheckpointResponseObject, error) {
	kind, err := chosen(ctx, plainText, "application/json")
	if err != nil {
		return nil, err
	}
	c, err := h.witness.Checkpoint(ctx, org(ctx))
	if err != nil {
		return nil, err
	}
	if kind == plainText {
		return varied(lines(c.Note)), nil
	}
	answer, err := fresh(checkpointAnswer{c.OrgID, c.Size, c.Root, string(c.Note)})
	return varied(answer), err
}

func (h handlers) GetLogKey(_ context.Context, _ GetLogKeyRequestObject) (GetLogKeyResponseObject, error) {
	key, err := h.witness.PublicKey()
	if err != nil {
		return nil, err
	}
	return lines([]byte(key + "\n")), nil
}

type logEntry struct {
	Seq        int64       `json:"seq"`
	RecordedAt string      `json:"recorded_at"`
	Kind       string      `json:"kind"`
	EntityID   uuid.UUID   `json:"entity_id"`
	Version    int         `json:"version"`
	BodySHA256 string      `json:"body_sha256"`
	By         string      `json:"by"`
	Leaf       ledger.Hash `json:"leaf"`
}

func entryAnswer(e ledger.Entry) logEntry {
	return logEntry{e.Seq, e.RecordedAt.UTC().Format(time.RFC3339Nano), e.Kind, e.EntityID, e.Version, e.BodySHA256, e.By, e.Hash()}
}

type logEntryPage struct {
	Items []logEntry `json:"items"`
	Next  *string    `json:"next"`
	Prev  *string    `json:"prev"` // there is no way back
	Size  int64      `json:"size"`
}

func (h handlers) ListLogEntries(ctx context.Context, r ListLogEntriesRequestObject) (ListLogEntriesResponseObject, error) {
	kind, err := chosen(ctx, "application/json", plainText)
	if err != nil {
		return nil, err
	}
	limit := or(r.Params.Limit, defaultLogLimit)
	page, err := h.witness.Entries(ctx, org(ctx), or(r.Params.After, 0), limit)
	if err != nil {
		return nil, err
	}
	next := ""
	if n := len(page.Items); n > 0 && page.Items[n-1].Seq < page.Size {
		next = strconv.FormatInt(page.Items[n-1].Seq, 10)
	}
	answer := lines(nil)
	if kind == plainText {
		for _, e := range page.Items {
			answer.body = ledger.AppendEntry(answer.body, e)
		}
	} else if answer, err = fresh(entryPageOf(page.Items, next, page.Size)); err != nil {
		return nil, err
	}
	return onward(varied(answer), "/v1/log/entries", "after", next, limit), nil
}

func entryPageOf(entries []ledger.Entry, next string, size int64) logEntryPage {
	out := logEntryPage{Items: make([]logEntry, len(entries)), Size: size}
	for i, e := range entries {
		out.Items[i] = entryAnswer(e)
	}
	if next != "" {
		out.Next = &next
	}
	return out
}

// onward names the page that follows, if one does.
func onward(d document, path, name, next string, limit int) document {
	if next != "" {
		d.header["Link"] = "<" + path + "?" + url.Values{name: {next}, "limit": {strconv.Itoa(limit)}}.Encode() + `>; rel="next"`
	}
	return d
}

func (h handlers) ListLogHashes(ctx context.Context, r ListLogHashesRequestObject) (ListLogHashesResponseObject, error) {
	first, limit := or(r.Params.From, 0), or(r.Params.Limit, defaultHashLimit)
	page, err := h.witness.Hashes(ctx, org(ctx), first, limit)
	if err != nil {
		return nil, err
	}
	answer := lines(nil)
	for _, hash := range page.Items {
		answer.body = ledger.AppendHash(answer.body, hash)
	}
	next := ""
	if after := first + int64(len(page.Items)); len(page.Items) > 0 && after < page.Count {
		next = strconv.FormatInt(after, 10)
	}
	return onward(answer, "/v1/log/hashes", "from", next, limit), nil
}

type inclusionAnswer struct {
	Seq   int64        `json:"seq"`
	Size  int64        `json:"size"`
	Entry logEntry     `json:"entry"`
	Root  ledger.Hash  `json:"root"`
	Proof ledger.Proof `json:"proof"`
}

func (h handlers) GetInclusionProof(ctx context.Context, r GetInclusionProofRequestObject) (GetInclusionProofResponseObject, error) {
	p, err := h.witness.ProveInclusion(ctx, org(ctx), r.Params.Seq, or(r.Params.Size, 0))
	if err != nil {
		return nil, err
	}
	return fresh(inclusionAnswer{p.Entry.Seq, p.Size, entryAnswer(p.Entry), p.Root, hashList(p.Proof)})
}

type consistencyAnswer struct {
	From     int64        `json:"from"`
	To       int64        `json:"to"`
	FromRoot ledger.Hash  `json:"from_root"`
	ToRoot   ledger.Hash  `json:"to_root"`
	Proof    ledger.Proof `json:"proof"`
}

func (h handlers) GetConsistencyProof(ctx context.Context, r GetConsistencyProofRequestObject) (GetConsistencyProofResponseObject, error) {
	p, err := h.witness.ProveConsistency(ctx, org(ctx), r.Params.From, or(r.Params.To, 0))
	if err != nil {
		return nil, err
	}
	return fresh(consistencyAnswer{p.From, p.To, p.FromRoot, p.ToRoot, hashList(p.Proof)})
}

// hashList is never null.
func hashList(p ledger.Proof) ledger.Proof { return append(ledger.Proof{}, p...) }

func (d document) VisitGetCheckpointResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitGetLogKeyResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitListLogEntriesResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitListLogHashesResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitGetInclusionProofResponse(w http.ResponseWriter) error { return d.write(w) }

func (d document) VisitGetConsistencyProofResponse(w http.ResponseWriter) error { return d.write(w) }
