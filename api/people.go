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
	return unkept(erasure)
}

func (d document) VisitErasePersonResponse(w http.ResponseWriter) error { return d.write(w) }
