package api

import (
	"context"
	"net/http"
	"strconv"

	"rideout/openapi"
	"rideout/service"
)

// Names the generated server takes from the contract's types.
type (
	ListEventsParams   = openapi.ListEventsParams
	StreamEventsParams = openapi.StreamEventsParams
)

func (h handlers) ListEvents(ctx context.Context, r ListEventsRequestObject) (ListEventsResponseObject, error) {
	limit := or(r.Params.Limit, defaultLimit)
	page, err := h.events.List(ctx, org(ctx), r.Params.After, limit)
	if err != nil {
		return nil, err
	}
	out := eventPage{Items: clouds(org(ctx), page.Items), Latest: page.Latest}
	next := ""
	if n := len(page.Items); n > 0 && page.Items[n-1].Sequence < page.Latest {
		next = strconv.FormatInt(page.Items[n-1].Sequence, 10)
		out.Next = &next
	}
	answer, err := fresh(out)
	return onward(answer, "/v1/events", "after", next, limit), err
}

type eventPage struct {
	Items  []service.CloudEvent `json:"items"`
	Next   *string              `json:"next"`
	Prev   *string              `json:"prev"` // there is no way back
	Latest int64                `json:"latest"`
}

func clouds(id service.OrgID, events []service.Event) []service.CloudEvent {
	out := make([]service.CloudEvent, len(events))
	for i, e := range events {
		out[i] = e.Cloud(id)
	}
	return out
}

func (d document) VisitListEventsResponse(w http.ResponseWriter) error { return d.write(w) }
