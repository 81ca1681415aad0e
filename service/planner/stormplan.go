package planner

import (
	"fmt"
	"math"
	"time"
)

// StormPlan is a plan for a poor link: what a rescue coordinator needs to know of a vessel, short enough for
// 1,200 bytes coded. The plan itself is the whole.
type StormPlan struct {
	PlanID    string        `json:"plan_id"`
	CreatedAt *time.Time    `json:"created_at,omitempty"`
	Vessel    string        `json:"vessel_name"`
	CallSign  string        `json:"call_sign,omitempty"`
	MMSI      string        `json:"mmsi,omitempty"`
	Crew      int           `json:"crew_named,omitempty"`
	Position  *Position     `json:"position,omitempty"`
	From      time.Time     `json:"from"`
	Until     time.Time     `json:"until"` // out of date after it; see OutOfDate
	CanopyM   float64       `json:"canopy_diameter_m"`
	Rode      string        `json:"rode"`
	Lying     *Lying        `json:"lying,omitempty"` // nil: her canopy is not out yet
	HeadDeg   *float64      `json:"heading_off_wind_deg,omitempty"`
	DriftKt   Band          `json:"drift_kt"` // in the worst phase
	PayOut    []StormPhase  `json:"phases"`
	Weakest   string        `json:"weakest_part"`
	Use       float64       `json:"weakest_use"`
	Hours     []StormHour   `json:"hours"`
	SeaRoom   *StormSeaRoom `json:"sea_room,omitempty"`
	Warnings  []string      `json:"warnings"` // codes
	Caution   string        `json:"caution"`
}

// StormPhase is a phase in one line.
type StormPhase struct {
	Name    string    `json:"name"`
	From    time.Time `json:"from"`
	WindKt  float64   `json:"wind_speed_kt"`
	HsM     float64   `json:"significant_wave_height_m"`
	PayOutM float64   `json:"pay_out_m"`
	PeakN   Band      `json:"peak_n"`
}

// StormHour is an hour of the timeline in one line.
type StormHour struct {
	Action  string     `json:"action"`
	At      *time.Time `json:"at"` // by then; of retrieving, not before
	Verdict string     `json:"verdict"`
	PayOutM *float64   `json:"pay_out_m,omitempty"` // of adjusting, to how much
}

// StormSeaRoom is the sea room in one line.
type StormSeaRoom struct {
	EarliestH   *float64    `json:"earliest_h"` // null: not within the forecast
	Probability float64     `json:"probability_ashore"`
	Nearest     *NearHazard `json:"nearest_hazard"`
	CallBy      *time.Time  `json:"call_by"`
}

// InShort makes the storm plan of a plan and the request it was made from.
func InShort(p Plan, r Request) StormPlan {
	s := StormPlan{
		PlanID: p.ID, CreatedAt: p.CreatedAt, Vessel: p.VesselName, CallSign: r.Vessel.CallSign, MMSI: r.Vessel.MMSI, Crew: len(r.Crew),
		CanopyM: p.Canopy.UsedDiameterM, Rode: rodeInShort(p), Lying: p.Lying, DriftKt: p.Loads.DriftKt, Hours: []StormHour{}, Warnings: []string{},
		Caution: "Estimates; the skipper decides. Gear maker and rescue service come first.", Position: r.Position,
	}
	if p.Bridle != nil {
		s.HeadDeg = &p.Bridle.HeadingDeg
	}
	for i, ph := range p.Phases {
		if i == 0 || ph.From.Before(s.From) {
			s.From = ph.From
		}
		s.PayOut = append(s.PayOut, StormPhase{ph.Name, ph.From, math.RoundToEven(ph.WindKt), r1(ph.HsM), math.Round(ph.PayOutM), each(ph.Loads.PeakN, toHundred)})
	}
	s.Until, _ = OutOfDate(p, r)
	for _, h := range p.Hardware {
		if h.Governing {
			s.Weakest, s.Use = h.Part, h.Use
		}
	}
	s.Hours = hoursInShort(p)
	for _, w := range p.Warnings {
		s.Warnings = append(s.Warnings, w.Code)
	}
	s.SeaRoom = roomInShort(p.SeaRoom)
	return s
}

// HoldsFor is how long a forecast is relied on after it was issued: our choice.
const HoldsFor = 24 * time.Hour

// OutOfDate is when a plan goes out of date, and why: when the forecast ends, or HoldsFor after it was issued, whichever is
// first. A forecast without the hour of its issue counts from when the plan was made.
func OutOfDate(p Plan, r Request) (at time.Time, why string) {
	for _, ph := range p.Phases {
		at = later(at, ph.Until)
	}
	if n := len(r.Forecast.Steps); n > 0 {
		at = later(at, r.Forecast.Steps[n-1].Time)
	}
	issued, from := r.Forecast.IssuedAt, "the forecast was issued"
	if issued.IsZero() && p.CreatedAt != nil {
		issued, from = *p.CreatedAt, "the plan was made"
	}
	if day := issued.Add(HoldsFor); !issued.IsZero() && (at.IsZero() || day.Before(at)) {
		return day.UTC(), fmt.Sprintf("%.0f h after %s", HoldsFor.Hours(), from)
	}
	return at.UTC(), "the forecast ends"
}

func toHundred(x float64) float64 { return 100 * math.Round(x/100) }

func rodeInShort(p Plan) string {
	r := p.Rode
	length := r.RecommendedM
	if r.CarriedM != nil {
		length = *r.CarriedM
	}
	return plainNumber(length) + " m of " + plainNumber(r.DiameterMM) + " mm " + words(r.Construction)
}

// hoursInShort keeps the first of each act that has one hour; of a vessel that lies to it, the first at which more goes out.
func hoursInShort(p Plan) []StormHour {
	short, seen := []StormHour{}, map[string]bool{}
	if h, found := payingOut(p); found {
		short = append(short, StormHour{Action: "adjust", At: h.Until, Verdict: h.Verdict, PayOutM: h.PayOutM})
	}
	for _, h := range p.Hours {
		if seen[h.Action] || h.Action != "rig" && h.Action != "deploy" && h.Action != "retrieve" {
			continue
		}
		seen[h.Action] = true
		at := h.Until
		if h.Action == "retrieve" {
			at = h.From
		}
		short = append(short, StormHour{Action: h.Action, At: at, Verdict: h.Verdict})
	}
	return short
}

func roomInShort(r *SeaRoom) *StormSeaRoom {
	if r == nil {
		return nil
	}
	s := &StormSeaRoom{EarliestH: r.TimeToLeeShoreH.Low, Probability: r.ProbabilityAshore, Nearest: r.NearestHazard}
	for _, d := range r.LatestToAct {
		if d.Act == "call" {
			s.CallBy = d.By
		}
	}
	return s
}
