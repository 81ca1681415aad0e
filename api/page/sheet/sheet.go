// Package sheet makes the crew's sheet of a plan: as a page for the screen and the printer, as a PDF of two
// pages, and as a short text for a satellite messenger. All three are written from one Sheet, so that they
// say the same.
package sheet

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"rideout/api/page/figure"
	"rideout/api/page/measure"
	"rideout/service/planner"
)

// Kept is a plan as the history keeps it, and the units to write it in.
type Kept struct {
	Answer, Inputs, Working []byte
	Units                   measure.Units
}

// Sheet is what a sheet says, as text that is ready to be set. Make it with New.
type Sheet struct {
	Vessel, Intent         string
	ID, Hash, Engine, Made string
	Expires, ExpiresWhy    string
	Deferral               string // the first caution, which stands at the head of each page
	Cautions               []string
	Summary                string
	Alarm                  string // that the set is not strong enough; empty if it is
	PayOut                 []PayOut
	Parts                  []Part
	Bridle                 string
	Hours                  []Hour
	Steps                  []Stage
	Crew                   *planner.Crew
	SeaRoom                []string
	Warnings               []string
	Subject                figure.Subject
	Origins                []Origin
	Working                []WorkingStep
	expires                time.Time
}

// PayOut is one phase: how much rode, and what is to be expected on it.
type PayOut struct {
	Phase, Length, Wind, Sea, Steady, Peak, PeakBand, Drift string
	When                                                    []string
	Hardest                                                 bool
	phase                                                   planner.Phase
}

// Part is one part of the chain from vessel to canopy.
type Part struct {
	Name, Capacity, Demand, Use, Verdict, Basis string
	Governing                                   bool
}

// Hour is one thing to do.
type Hour struct {
	Action, From, Until, Light, Length, Verdict, Text, Why string
	hour                                                   planner.Hour
}

// Stage is a part of the work on deck.
type Stage struct {
	Name  string
	stage string
	Steps []planner.Instruction
}

// New reads a kept plan.
func New(k Kept) (Sheet, error) {
	s := Sheet{Subject: figure.Subject{Units: k.Units}}
	for _, part := range []struct {
		name string
		from []byte
		into any
	}{{"plan", k.Answer, &s.Subject.Plan}, {"inputs", k.Inputs, &s.Subject.Request}} {
		if err := json.Unmarshal(part.from, part.into); err != nil {
			return Sheet{}, fmt.Errorf("read the kept %s: %w", part.name, err)
		}
	}
	var steps []planner.WorkingStep
	if len(k.Working) > 0 {
		if err := json.Unmarshal(k.Working, &steps); err != nil {
			return Sheet{}, fmt.Errorf("read the kept working: %w", err)
		}
	}
	s.identify()
	s.advise()
	s.Working = numbered(steps)
	s.Origins = s.origins()
	return s, nil
}

// identify fills in which plan it is, and until when it holds.
func (s *Sheet) identify() {
	p := s.Subject.Plan
	s.Vessel, s.Intent, s.ID, s.Hash, s.Engine = p.VesselName, words(string(p.Intent)), p.ID, p.InputSHA256, p.Engine
	if p.CreatedAt != nil {
		s.Made = measure.Date(*p.CreatedAt)
	}
	s.expires, s.ExpiresWhy = planner.OutOfDate(p, s.Subject.Request)
	s.Expires = measure.Date(s.expires)
	s.Cautions = p.Cautions
	if len(s.Cautions) == 0 {
		s.Cautions = planner.Cautions
	}
	s.Deferral = s.Cautions[0]
}

// advise fills in what is to be done.
func (s *Sheet) advise() {
	p, u := s.Subject.Plan, s.Subject.Units
	s.Summary = p.Summary
	for _, phase := range p.Phases {
		s.PayOut = append(s.PayOut, payOut(phase, u, p))
	}
	for _, part := range p.Hardware {
		s.Parts = append(s.Parts, Part{part.Part, u.Force(part.CapacityN), u.Force(part.DemandN), measure.Percent(part.Use), words(part.Verdict), part.Basis, part.Governing})
		if part.Governing && part.Use > 1 {
			s.Alarm = fmt.Sprintf("THIS SET IS NOT STRONG ENOUGH for the hardest of this forecast: the %s would be at %s of its capacity.", part.Part, measure.Percent(part.Use))
		}
	}
	if p.Bridle != nil {
		s.Bridle = p.Bridle.Text
	}
	for _, h := range p.Hours {
		s.Hours = append(s.Hours, hourOf(h, u))
	}
	for _, i := range p.Steps {
		if n := len(s.Steps); n == 0 || s.Steps[n-1].Name != stageName(i.Stage) {
			s.Steps = append(s.Steps, Stage{Name: stageName(i.Stage), stage: i.Stage})
		}
		last := &s.Steps[len(s.Steps)-1]
		i.Who = words(i.Who)
		last.Steps = append(last.Steps, i)
	}
	s.Crew = p.Crew
	s.SeaRoom = seaRoom(s.Subject)
	for _, w := range p.Warnings {
		s.Warnings = append(s.Warnings, w.Message)
	}
}

func payOut(phase planner.Phase, u measure.Units, p planner.Plan) PayOut {
	l := phase.Loads
	row := PayOut{
		Phase: words(phase.Name), Length: u.Length(phase.PayOutM), Wind: fmt.Sprintf("%s gusting %s, force %d", measure.Knots(phase.WindKt), measure.Knots(phase.GustKt), phase.BeaufortForce),
		Sea: u.Wave(phase.HsM) + ", " + measure.Period(phase.TpS), Steady: u.Force(l.SteadyN.Mid), Peak: u.Force(l.PeakN.Mid), PeakBand: u.Forces(l.PeakN),
		Drift: u.Drift(l.DriftKt.Mid) + " (" + u.Drifts(l.DriftKt) + ")", phase: phase, Hardest: figure.Hardest(p, phase),
	}
	for _, span := range phase.Spans {
		row.When = append(row.When, measure.Between(span.From, span.Until))
	}
	return row
}

func hourOf(h planner.Hour, u measure.Units) Hour {
	row := Hour{Action: words(h.Action), Light: words(h.Light), Verdict: words(h.Verdict), Text: h.Text, Why: h.Why, hour: h}
	if h.From != nil {
		row.From = measure.Clock(*h.From)
	}
	if h.Until != nil {
		row.Until = measure.Clock(*h.Until)
	}
	if h.PayOutM != nil {
		row.Length = u.Length(*h.PayOutM)
	}
	return row
}

func stageName(stage string) string {
	return map[string]string{"prepare": "Prepare", "deploy": "Deploy", "lie": "Lie to it", "retrieve": "Retrieve", "trouble": "In trouble"}[stage]
}

// seaRoom says what is known of shores, and by when to act.
func seaRoom(s figure.Subject) []string {
	room := s.Plan.SeaRoom
	if room == nil {
		return nil
	}
	lines := []string{room.Text}
	for _, d := range room.LatestToAct {
		if d.By != nil { // else there is nothing to act on; the text on the screen says why
			lines = append(lines, d.Text)
		}
	}
	return append(lines, "Islets, rocks and shoals are missing from the shore lines used: use the chart.")
}

// Stage is the stage's name in the contract.
func (s Stage) Stage() string { return s.stage }

// LeftOut says what the printed page leaves to the screen; empty if nothing.
func (f fit) LeftOut() string {
	list := ""
	switch {
	case f.Hazards == none:
		list = "the dangers and reasons of each step"
	case f.Hazards == handling:
		list = "the dangers of the other steps and all reasons"
	case !f.Why:
		list = "the reasons of each step"
	default:
		return ""
	}
	if !f.Signs {
		list += ", lights and sounds, hauling, whom to call"
	}
	return "Not on this paper but on the screen, to be read before you begin: " + list + "."
}

// Weakest lists the parts that are used most, at most n.
func (s Sheet) Weakest(n int) []Part {
	order := slices.Clone(s.Subject.Plan.Hardware)
	slices.SortStableFunc(order, func(a, b planner.Part) int { return cmp.Compare(b.Use, a.Use) })
	var list []Part
	for _, part := range order[:min(n, len(order))] {
		for _, p := range s.Parts {
			if p.Name == part.Part {
				list = append(list, p)
			}
		}
	}
	return list
}

// NotComputed says why hours, steps and crew are missing from a plan.
func (s Sheet) NotComputed(what string) string {
	return what + ": not computed in this plan. Work them out by other means and write them here."
}

func words(name string) string { return strings.ReplaceAll(name, "_", " ") }
