package api

import (
	"context"
	"net/http"
)

func (h handlers) ErasePerson(ctx context.Context, r ErasePersonRequestObject) (ErasePersonResponseObject, error) {
	erasure, err := h.registers.Erase(ctx, org(ctx), r.Id, by(ctx))
	if err != nil {
		return nil, err
	}
	answer, err := jsonDocument(erasure)
	answer.header = map[string]string{"Cache-Control": "no-store"}
	return answer, err
}

func (d document) VisitErasePersonResponse(w http.ResponseWriter) error { return d.write(w) }
