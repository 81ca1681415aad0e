// Package readiness judges whether a vessel is ready to lie to her sea anchor: as of an instant, by what was recorded.
// The rules are a table (rules.go), each one small function; RULES.md is written from it. The package is pure: the
// same state, policy and instant give the same report, to the byte.
//
// The JSON of Report is the contract's form.
package readiness

import (
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
)

// Version names the set of rules. It changes whenever the same records may be judged otherwise.
const Version = "readiness-4"

// Verdict is the word on a vessel.
type Verdict string

// The verdicts. The zero value is not one of them.
const (
	Ready            Verdict = "ready"
	WithReservations Verdict = "ready_with_reservations"
	NotReady         Verdict = "not_ready"
)

// Severity is what a finding does to the verdict.
type Severity string

// The severities. The zero value is not one of them.
const (
	Reservation Severity = "reservation"
	Prevents    Severity = "not_ready"
)

// Finding is one thing that is not as a rule asks.
type Finding struct {
	Code     string     `json:"code"` // the rule's
	Severity Severity   `json:"severity"`
	Text     string     `json:"text"`            // a sentence
	Fix      string     `json:"fix"`             // what would put it right
	Since    *time.Time `json:"since,omitempty"` // from when on it has been so; absent: the records do not tell
	Due      *time.Time `json:"due,omitempty"`   // from when on it will be so, of what falls due in a window
	Evidence []Evidence `json:"evidence"`
}

// Evidence is a record the finding rests on.
type Evidence struct {
	What string `json:"what"`
	Href string `json:"href"`
}

// Report is what was found on a vessel.
type Report struct {
	ID         uuid.UUID         `json:"id"` // the vessel's
	VesselName string            `json:"vessel_name"`
	ValidAt    time.Time         `json:"valid_at"`
	KnownAt    time.Time         `json:"known_at"`
	Rules      string            `json:"rules"`
	Verdict    Verdict           `json:"verdict"`
	Findings   []Finding         `json:"findings"`
	Window     *WindowReport     `json:"window,omitempty"`
	Links      map[string]string `json:"links"`
}

// Window is a stretch of days somebody wants the vessel for. Usual is the weather usual there at that season, as far
// as it is given.
type Window struct {
	From, To time.Time
	Usual    Weather
}

// Weather is a wind and a sea; nil is not known.
type Weather struct{ WindKt, HsM *float64 }

// WindowReport is what comes between the vessel and a window: what falls due after ValidAt and by the end of it, if
// nothing is done, and whether the usual weather is inside her limits. Verdict counts what is found already, too.
type WindowReport struct {
	From     time.Time `json:"from"`
	To       time.Time `json:"to"`
	WindKt   *float64  `json:"wind_speed_kt,omitempty"`
	HsM      *float64  `json:"significant_wave_height_m,omitempty"`
	Verdict  Verdict   `json:"verdict"`
	Findings []Finding `json:"findings"`
}

// As says which instants a state was read for.
type As struct{ ValidAt, KnownAt time.Time }

// Judge holds a state against every rule. A nil window asks about the instant alone.
func Judge(s State, p fleet.Policy, at As, w *Window) Report {
	now := &circumstances{State: &s, policy: &p, at: at.ValidAt}
	self := vesselPath(s.ID)
	r := Report{
		ID: s.ID, VesselName: s.Vessel.Name, ValidAt: at.ValidAt, KnownAt: at.KnownAt, Rules: Version, Findings: now.find(),
		Links: map[string]string{"self": self + "/readiness", "vessel": self},
	}
	r.Verdict = verdictOf(r.Findings)
	if w != nil {
		r.Window = now.through(*w, r.Findings)
	}
	return r
}

// find gives the findings of all rules, in their order.
func (c *circumstances) find() []Finding {
	all := []Finding{}
	for _, rule := range rules {
		rule.look(c, func(words func() Finding) {
			f := words()
			f.Code, f.Severity = rule.Code, rule.Severity
			all = append(all, f)
		})
	}
	return all
}

// through judges a window: by the same records at the end of it, without what is found already.
func (c *circumstances) through(w Window, found []Finding) *WindowReport {
	known := map[string]bool{}
	for _, f := range found {
		known[f.about()] = true
	}
	then := circumstances{State: c.State, policy: c.policy, at: w.To, usual: w.Usual}
	r := &WindowReport{From: w.From, To: w.To, WindKt: w.Usual.WindKt, HsM: w.Usual.HsM, Findings: []Finding{}}
	for _, f := range then.find() {
		if known[f.about()] {
			continue
		}
		if f.Since != nil && f.Since.After(c.at) {
			f.Since, f.Due = nil, f.Since
		}
		r.Findings = append(r.Findings, f)
	}
	r.Verdict = worse(verdictOf(found), verdictOf(r.Findings))
	return r
}

// about tells findings of different things apart.
func (f Finding) about() string { return f.Code + " " + f.Evidence[0].Href }

// Breaks tells whether a rule has a finding, at the instant or in the window.
func (r Report) Breaks(code string) bool {
	return slices.ContainsFunc(r.all(), func(f Finding) bool { return f.Code == code })
}

// Holds tells whether the vessel's name or a finding holds a text, in whatever case.
func (r Report) Holds(text string) bool {
	text = strings.ToLower(text)
	holds := func(in string) bool { return strings.Contains(strings.ToLower(in), text) }
	return holds(r.VesselName) || slices.ContainsFunc(r.all(), func(f Finding) bool { return holds(f.Text) })
}

// all gives the findings of the instant and of the window.
func (r Report) all() []Finding {
	if r.Window == nil {
		return r.Findings
	}
	return slices.Concat(r.Findings, r.Window.Findings)
}
