package planner

import (
	"encoding/json"
	"time"
)

// SeaRoom is where she will be and whether a shore is there. A nil time is one not reached within the
// forecast: it is no promise that it is never reached.
type SeaRoom struct {
	TimeToLeeShoreH  Reach           `json:"time_to_lee_shore_h"`
	ProbabilityAsh   float64         `json:"probability_ashore"` // by the end of the forecast
	NearestHazard    *NearHazard     `json:"nearest_hazard"`
	Reached          []ReachedHazard `json:"reached"` // shores and hazards that particles met, likeliest first
	Track            json.RawMessage `json:"track"`   // GeoJSON: the middle track, hourly
	Containment      json.RawMessage `json:"containment"`
	WithoutAnchor    Adrift          `json:"without_sea_anchor"`
	LatestToAct      []Deadline      `json:"latest_to_act"`
	CurrentContained string          `json:"current_contained"` // what the current is taken to hold
	Particles        int             `json:"particles"`
	Text             string          `json:"text"`
	Limits           string          `json:"limits"` // islets are missing
}

// Reach is when 5, 50 and 95 of a hundred particles have reached something, in hours from the start;
// nil: not within the forecast.
type Reach struct {
	Low  *float64 `json:"low"`
	Mid  *float64 `json:"mid"`
	High *float64 `json:"high"`
}

// NearHazard is the nearest shore or hazard to the start, and to the middle track.
type NearHazard struct {
	Name       string  `json:"name"`
	Kind       string  `json:"kind"` // shore, hazard
	DistanceNM float64 `json:"distance_nm"`
	BearingDeg float64 `json:"bearing_deg"`
	ClosestNM  float64 `json:"closest_on_track_nm"`
}

// ReachedHazard is one shore or hazard that can be reached within the forecast.
type ReachedHazard struct {
	Name        string  `json:"name"`
	Kind        string  `json:"kind"`
	Probability float64 `json:"probability"`
	TimeH       Reach   `json:"time_h"`
}

// Adrift is the same sea with nothing out.
type Adrift struct {
	LeewayClass    string          `json:"leeway_class"`
	DriftKt        Band            `json:"drift_kt"`
	TimeToShoreH   Reach           `json:"time_to_lee_shore_h"`
	ProbabilityAsh float64         `json:"probability_ashore"`
	Track          json.RawMessage `json:"track"`
}

// Deadline is the latest hour for an act that still keeps her off.
type Deadline struct {
	Act  string     `json:"act"` // leave, deploy, call
	By   *time.Time `json:"by"`
	Text string     `json:"text"`
}
