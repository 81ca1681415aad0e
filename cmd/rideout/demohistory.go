package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"time"

	"rideout/service/fleet"
	"rideout/testdata/demo"
)

// demoHistory is history.json: what the invented fleet did, each entry with the time it was written down. Its dates are fixed and
// not counted back from the day of the start: so an answer as of a past instant is the same in every demo, the forecasts of
// testdata/demo and the examples fall into it, and its board can be a golden. Rounds of inspections and drills go on to the day of
// the start, or by then the whole fleet would be overdue.
type demoHistory struct {
	Policy struct {
		Recorded time.Time       `json:"recorded"`
		Policy   json.RawMessage `json:"policy"`
	} `json:"policy"`
	Vessels     []historyVessel     `json:"vessels"`
	Rounds      []historyRound      `json:"rounds"`
	Plans       []historyPlan       `json:"plans"`
	Lays        []historyLay        `json:"lays"`
	Fitted      []historyFitting    `json:"fitted"`
	Inspections []historyInspection `json:"inspections"`
	Changes     []historyChange     `json:"changes"`
	Incidents   []historyIncident   `json:"incidents"`
}

// historyVessel registers a vessel with the gear of her file and what else is aboard.
type historyVessel struct {
	Recorded       time.Time  `json:"recorded"`
	Name           string     `json:"name"` // of her files
	HomePort       string     `json:"home_port"`
	Marks          string     `json:"marks"`     // begin the serial numbers of her gear
	RodeUsed       fleet.Date `json:"rode_used"` // first
	RodeStormHours float64    `json:"rode_storm_hours"`
	Aboard         []string   `json:"aboard"`
}

// historyRound is her half-yearly inspections of all gear rigged, and drills.
type historyRound struct {
	Vessel         string    `json:"vessel"`
	Inspected      time.Time `json:"inspected"`
	InspectedUntil time.Time `json:"inspected_until"` // zero: for good
	Drill          string    `json:"drill"`           // kind
	Drilled        time.Time `json:"drilled"`
	DrilledUntil   time.Time `json:"drilled_until"`
	Crew           int       `json:"crew"`
}

// historyPlan is a plan on its own: one of the scenario, or one in weather made here.
type historyPlan struct {
	Recorded time.Time  `json:"recorded"`
	Scenario string     `json:"scenario"` // its claim
	Name     string     `json:"name"`
	Vessel   string     `json:"vessel"`
	Weather  string     `json:"weather"`
	Position [2]float64 `json:"position"`
}

// historyLay is a time she lay to her canopy: plan, deployment, what was observed, retrieval.
type historyLay struct {
	Name     string     `json:"name"`
	Vessel   string     `json:"vessel"`
	Plan     string     `json:"plan"` // of the scenario; empty: one is made in the weather
	Weather  string     `json:"weather"`
	Begins   time.Time  `json:"begins"` // the forecast
	Position [2]float64 `json:"position"`
	Hours    float64    `json:"hours"`
	Back     string     `json:"back"` // method of the retrieval
	Damage   string     `json:"damage"`
	Note     string     `json:"note"`
	LoadCell bool       `json:"load_cell"`
	Logged   time.Time  `json:"logged"`     // late; zero: as it happened
	RodeOutM float64    `json:"rode_out_m"` // as it was logged; 0: all of it
	Wild     string     `json:"wild"`       // why the last observation is not to be trusted
}

type historyFitting struct {
	Recorded time.Time       `json:"recorded"`
	Vessel   string          `json:"vessel"`
	Item     string          `json:"item"`
	Body     json.RawMessage `json:"body"`
}

type historyInspection struct {
	Recorded time.Time       `json:"recorded"`
	Gear     string          `json:"gear"` // vessel/item
	Body     json.RawMessage `json:"body"`
}

// historyChange is a further version of a vessel, an item (vessel/item) or a lay's deployment.
type historyChange struct {
	Recorded time.Time       `json:"recorded"`
	Of       string          `json:"of"`
	From     time.Time       `json:"from"` // zero: a correction
	Patch    json.RawMessage `json:"patch"`
}

type historyIncident struct {
	Recorded time.Time       `json:"recorded"`
	Name     string          `json:"name"`
	Vessel   string          `json:"vessel"`
	Lay      string          `json:"lay"`
	Gear     []string        `json:"gear"`
	Body     json.RawMessage `json:"body"`
}

func readHistory() (h demoHistory, err error) {
	text, err := demo.FS.ReadFile("history.json")
	if err != nil {
		return h, err
	}
	strict := json.NewDecoder(bytes.NewReader(text))
	strict.DisallowUnknownFields()
	if err := strict.Decode(&h); err != nil {
		return h, fmt.Errorf("history.json: %w", err)
	}
	return h, nil
}
