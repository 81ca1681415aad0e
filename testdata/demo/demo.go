// Package demo holds an invented charter fleet and sea school in northern waters, and the weather
// they meet: vessels, gear and forecasts as a caller of the API would send them. scenario.json says
// which of them make a plan together. No real person, vessel or company is meant.
package demo

import "embed"

// FS holds scenario.json, history.json, vessels/*.json, gear/*.json and forecasts/*.json.
//
//go:embed scenario.json history.json vessels gear forecasts
var FS embed.FS
