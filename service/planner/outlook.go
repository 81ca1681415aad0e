package planner

import (
	"fmt"
	"time"

	"rideout/service/physics/hardware"
)

// Act is what a plan asks of a vessel at sea next.
type Act string

// The acts, most pressing first. An act that is too late is one the skipper must decide: the plan's hours say what is left.
const (
	ActTooLate  Act = "too_late" // the hour to deploy is past
	ActDeploy   Act = "deploy"
	ActPayOut   Act = "pay_out" // she lies to her canopy, and needs more rode out
	ActLie      Act = "lie"     // she lies to her canopy, and must not retrieve it yet
	ActRetrieve Act = "retrieve"
	ActWatch    Act = "watch" // the forecast asks for nothing; keep the gear ready and look at the next one
)

// Outlook is a plan in a few words for whoever watches over many vessels.
type Outlook struct {
	Act          Act        `json:"act"`
	By           *time.Time `json:"by"`             // the latest to have it done, of deploying and paying out
	NotBefore    *time.Time `json:"not_before"`     // of retrieving
	Outside      []string   `json:"outside_limits"` // what is outside her limits; empty: nothing is
	Text         string     `json:"text"`
	Weakest      string     `json:"weakest_part"`
	WeakestUse   float64    `json:"weakest_use"`
	AshoreShare  *float64   `json:"probability_ashore"` // null: no position or no direction of the wind
	EarliestH    *float64   `json:"earliest_ashore_h"`  // null: not within the forecast
	ForecastEnds time.Time  `json:"forecast_ends_at"`
}

// OutlookOf reads a plan for a vessel at sea.
func OutlookOf(p Plan) Outlook {
	o := Outlook{Act: ActWatch, Outside: outsideLimits(p)}
	for _, part := range p.Hardware {
		if part.Governing {
			o.Weakest, o.WeakestUse = part.Part, part.Use
		}
	}
	for _, phase := range p.Phases {
		if phase.Until.After(o.ForecastEnds) {
			o.ForecastEnds = phase.Until
		}
	}
	if p.SeaRoom != nil {
		o.AshoreShare, o.EarliestH = &p.SeaRoom.ProbabilityAshore, p.SeaRoom.TimeToLeeShoreH.Low
	}
	if p.Lying != nil {
		o.sayLying(p)
	} else {
		o.sayDeploying(p)
	}
	return o
}

func (o *Outlook) sayLying(p Plan) {
	o.Act, o.Text = ActLie, "She lies to her canopy; the forecast does not let her retrieve it before its end."
	if h, found := hourOf(p, "retrieve"); found && h.From != nil {
		o.NotBefore = h.From
		o.Act, o.Text = ActRetrieve, h.Text
		if h.Verdict == notBefore {
			o.Act = ActLie
		}
	}
	if h, found := payingOut(p); found {
		o.Act, o.By, o.Text = ActPayOut, h.Until, h.Text
	}
}

func (o *Outlook) sayDeploying(p Plan) {
	h, found := hourOf(p, "deploy")
	switch {
	case !found || h.Verdict == notInForecast || p.Intent != RideOutStorm:
		o.Text = "The forecast does not ask for the sea anchor: keep it ready, and look at the next forecast."
	case h.Verdict == tooLate:
		o.Act, o.By, o.Text = ActTooLate, h.Until, h.Text
	default:
		o.Act, o.By, o.Text = ActDeploy, h.Until, h.Text
	}
}

func hourOf(p Plan, action string) (Hour, bool) {
	for _, h := range p.Hours {
		if h.Action == action {
			return h, true
		}
	}
	return Hour{}, false
}

// outsideLimits says what of her and her gear the forecast is too much for.
func outsideLimits(p Plan) []string {
	out := []string{}
	if v := p.Canopy.Verdict; v != "suits" {
		out = append(out, "canopy: "+words(v))
	}
	if v := p.Rode.Verdict; v != "suits" {
		out = append(out, "rode: "+words(v))
	}
	for _, part := range p.Hardware {
		if part.Verdict == string(hardware.Over) {
			out = append(out, fmt.Sprintf("%s: bears %.0f %% of its capacity", part.Part, 100*part.Use))
		}
	}
	if h, found := hourOf(p, "deploy"); found && h.Verdict == tooLate {
		out = append(out, "the hour to deploy is past")
	}
	if h, found := payingOut(p); found && h.Verdict == tooLate {
		out = append(out, "the hour to pay out more rode is past")
	}
	if room := p.SeaRoom; room != nil && room.TimeToLeeShoreH.Low != nil {
		out = append(out, fmt.Sprintf("sea room: of a hundred drifts five are ashore within %.1f h, and %.0f %% by the forecast's end", *room.TimeToLeeShoreH.Low, 100*room.ProbabilityAshore))
	}
	return out
}
