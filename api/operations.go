package api

import (
	"context"
	"net/http"
	"time"

	"rideout/openapi"
	"rideout/service"
)

const pingPatience = time.Second

func (h handlers) GetLiveness(context.Context, GetLivenessRequestObject) (GetLivenessResponseObject, error) {
	return status(openapi.Alive)
}

func (h handlers) GetReadiness(ctx context.Context, _ GetReadinessRequestObject) (GetReadinessResponseObject, error) {
	if h.draining.Load() {
		return nil, &service.Error{Kind: service.KindUnavailable, Message: "the service is stopping"}
	}
	patient, cancel := context.WithTimeout(ctx, pingPatience)
	defer cancel()
	err := h.ping(patient)
	if ctx.Err() == nil { // whoever has gone has not found out
		h.noteReadiness(err)
	}
	if err != nil {
		return nil, &service.Error{Kind: service.KindUnavailable, Message: "the store cannot be reached", Err: err}
	}
	return status(openapi.Ready)
}

// noteReadiness tells the log when readiness turns, and not each time somebody asks: probes come every few seconds.
func (a *API) noteReadiness(err error) {
	switch before := a.unready.Swap(err != nil); {
	case err != nil && !before:
		a.log.Error("not ready: the store cannot be reached", "error", err)
	case err == nil && before:
		a.log.Info("ready again")
	}
}

func (h handlers) GetContract(context.Context, GetContractRequestObject) (GetContractResponseObject, error) {
	return document{status: http.StatusOK, kind: "application/json", header: map[string]string{"Cache-Control": "no-cache"}, body: h.contractJSON}, nil
}

func (h handlers) GetDocs(context.Context, GetDocsRequestObject) (GetDocsResponseObject, error) {
	header := map[string]string{"Cache-Control": "no-cache", "Content-Security-Policy": h.docs.Policy}
	return document{status: http.StatusOK, kind: "text/html; charset=utf-8", header: header, body: h.docs.HTML}, nil
}

func (h handlers) GetGuide(_ context.Context, r GetGuideRequestObject) (GetGuideResponseObject, error) {
	page := h.docs.Guide(r.Guide)
	if page == nil {
		return nil, &service.Error{Kind: service.KindNotFound, Message: "there is no such guide; /docs lists them"}
	}
	header := map[string]string{"Cache-Control": "no-cache", "Content-Security-Policy": h.docs.Policy}
	return document{status: http.StatusOK, kind: "text/html; charset=utf-8", header: header, body: page}, nil
}

func status(s openapi.StatusStatus) (document, error) {
	return unkept(openapi.Status{Status: s})
}
