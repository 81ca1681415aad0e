package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"

	"rideout/service"
)

func (h handlers) GetGearUse(ctx context.Context, r GetGearUseRequestObject) (GetGearUseResponseObject, error) {
	use, at, err := h.registers.Use(ctx, org(ctx), r.Id, asOf(r.Params.ValidAt, r.Params.KnownAt))
	if err != nil {
		return nil, err
	}
	return timed(use, at)
}

func (h handlers) GetCalibration(ctx context.Context, r GetCalibrationRequestObject) (GetCalibrationResponseObject, error) {
	p := r.Params
	learning, at, err := h.registers.Calibration(ctx, org(ctx), or(p.VesselId, uuid.Nil), asOf(p.ValidAt, p.KnownAt))
	if err != nil {
		return nil, err
	}
	return timed(learning, at)
}

// timed answers what was worked out as of two times.
func timed(v any, at service.AsOf) (document, error) {
	answer, err := fresh(v)
	sayTimes(answer.header, at)
	return answer, err
}

func (d document) VisitGetGearUseResponse(w http.ResponseWriter) error     { return d.write(w) }
func (d document) VisitGetCalibrationResponse(w http.ResponseWriter) error { return d.write(w) }
