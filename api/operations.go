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
	ctx, cancel := context.WithTimeout(ctx, pingPatience)
	defer cancel()
	if err := h.ping(ctx); err != nil {
		return nil, &service.Error{Kind: service.KindUnavailable, Message: "the store cannot be reached", Err: err}
	}
	return status(openapi.Ready)
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
	answer, err := jsonDocument(openapi.Status{Status: s})
	answer.header = map[string]string{"Cache-Control": "no-store"}
	return answer, err
}
