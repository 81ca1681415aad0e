package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"

	"rideout/service"
)

func (h handlers) GetGearUse(ctx context.Context, r GetGearUseRequestObject) (GetGearUseResponseObject, error) {
	use, at, err := h.registers.Use(ctx, org(ctx), r.Id, service.AsOf{ValidAt: utc(r.Params.ValidAt), KnownAt: utc(r.Params.KnownAt)})
	if err != nil {
		return nil, err
	}
	return asOf(use, at)
}

func (h handlers) GetCalibration(ctx context.Context, r GetCalibrationRequestObject) (GetCalibrationResponseObject, error) {
	p := r.Params
	learning, at, err := h.registers.Calibration(ctx, org(ctx), or(p.VesselId, uuid.Nil), service.AsOf{ValidAt: utc(p.ValidAt), KnownAt: utc(p.KnownAt)})
	if err != nil {
		return nil, err
	}
	return asOf(learning, at)
}

// asOf answers what was worked out as of two times.
func asOf(v any, at service.AsOf) (document, error) {
	answer, err := jsonDocument(v)
	answer.header = map[string]string{"Cache-Control": "private, no-cache"}
	sayTimes(answer.header, at)
	return answer, err
}

func (d document) VisitGetGearUseResponse(w http.ResponseWriter) error     { return d.write(w) }
func (d document) VisitGetCalibrationResponse(w http.ResponseWriter) error { return d.write(w) }
