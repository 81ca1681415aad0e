package planner

import "time"

// Hour is one thing to do on the timeline from harbour to recovery. A nil time is one the forecast
// does not reach; the text says so.
type Hour struct {
	Action  string     `json:"action"` // rig, brief, deploy, settle, watch, adjust, hold, retrieve
	From    *time.Time `json:"from"`
	Until   *time.Time `json:"until"`
	Light   string     `json:"light"` // day, civil_twilight, dark, mixed, unknown
	PayOutM *float64   `json:"pay_out_m,omitempty"`
	EveryH  *float64   `json:"every_h,omitempty"` // interval of the watch on the rode
	Verdict string     `json:"verdict"`           // in_time, too_late, not_before, not_in_forecast
	Text    string     `json:"text"`
	Why     string     `json:"why"`
}
