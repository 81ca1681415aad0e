package service

import (
	"fmt"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
)

// CloudEvent is an event in the form of CloudEvents 1.0, JSON format. Equal events have equal bytes, whenever and
// however they are sent.
type CloudEvent struct {
	SpecVersion     string    `json:"specversion"`
	ID              string    `json:"id"`
	Source          string    `json:"source"`
	Type            string    `json:"type"`
	Subject         string    `json:"subject"`
	Time            string    `json:"time"`
	DataContentType string    `json:"datacontenttype"`
	Sequence        int64     `json:"sequence"` // an attribute of ours
	Data            EventData `json:"data"`
}

// EventData is what a CloudEvent tells: that there is something to be read, and where. The content itself is read
// with a key.
type EventData struct {
	Sequence int64             `json:"sequence"`
	Kind     fleet.Kind        `json:"kind"`
	EntityID uuid.UUID         `json:"entity_id"`
	Version  int               `json:"version"`
	Links    map[string]string `json:"links"`
}

// EventID names an event of an organisation for good. Receivers tell by it what they have had.
func EventID(org OrgID, sequence int64) string {
	return org.String() + "-" + strconv.FormatInt(sequence, 10)
}

// EventType is the type of the event that a version of a thing is recorded.
func EventType(kind fleet.Kind, version int) string {
	if version == 1 {
		return "rideout." + string(kind) + ".created"
	}
	return "rideout." + string(kind) + ".changed"
}

// Cloud gives the event in its outer form.
func (e Event) Cloud(org OrgID) CloudEvent {
	return CloudEvent{
		SpecVersion: "1.0", ID: EventID(org, e.Sequence), Source: "urn:uuid:" + org.String(), Type: EventType(e.Kind, e.Version),
		Subject: fmt.Sprintf("%s/%s", e.Kind, e.EntityID), Time: e.At.UTC().Format(time.RFC3339Nano), DataContentType: "application/json",
		Sequence: e.Sequence,
		Data:     EventData{Sequence: e.Sequence, Kind: e.Kind, EntityID: e.EntityID, Version: e.Version, Links: e.links()},
	}
}

// links gives the address a thing is read at; a kind without a route has none.
func (e Event) links() map[string]string {
	switch {
	case e.Kind == fleet.KindPlan:
		return map[string]string{"self": PlanLinks(e.EntityID)["self"]}
	case e.Kind == KindEmergencyAccess:
		return map[string]string{"self": "/v1/emergency-access/" + e.EntityID.String()}
	case e.Kind == KindWebhook:
		return map[string]string{"self": "/v1/webhooks/" + e.EntityID.String()}
	case e.Kind == KindKey:
		return map[string]string{"self": keyLinks(e.EntityID)["self"]}
	case e.Kind == fleet.KindForecast:
		return map[string]string{"self": ForecastPath(e.EntityID)}
	case slices.Contains(fleet.Kinds(), e.Kind):
		return map[string]string{"self": linksOf(Version{Kind: e.Kind, ID: e.EntityID})["self"]}
	}
	return map[string]string{}
}
