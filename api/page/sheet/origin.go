package sheet

import (
	"cmp"
	"fmt"
	"strings"

	"rideout/api/page/measure"
	"rideout/service/planner"
)

// Origin tells how a figure of the sheet came about.
type Origin struct {
	ID, Title string
	Text      []string
	Steps     []WorkingStep // of the working, where it is followed by hand
}

// WorkingStep is a step of the working with the name of its place on the page.
type WorkingStep struct {
	ID string
	planner.WorkingStep
}

func numbered(steps []planner.WorkingStep) []WorkingStep {
	list := make([]WorkingStep, len(steps))
	for i, step := range steps {
		list[i] = WorkingStep{fmt.Sprintf("step-%d", i+1), step}
	}
	return list
}

// origins explains the figures the sheet shows.
func (s Sheet) origins() []Origin {
	p, u := s.Subject.Plan, s.Subject.Units
	worked := "The steps named are those of the hardest phase; the others are computed alike."
	drives := "What is uncertain, and what drives it: " + p.Bands.Text
	list := []Origin{
		{"from-weather", "Wind and sea", append(s.estimates(), worked), s.find("wind", "sea")},
		{"from-pay-out", "Rode to pay out", append(s.reasons(), worked), s.find("motion", "rode")},
		{"from-steady", "Steady pull", []string{"The pull in wind and current without the waves' motion. In the hardest phase " + u.Force(p.Loads.SteadyN.Mid) + ", low to high " + u.Forces(p.Loads.SteadyN) + ".", drives, worked}, s.find("wind", "steady")},
		{"from-peak", "Peak load", []string{"90 of a hundred stretches of 3 h stay below it. It is the middle estimate; in the hardest phase " + u.Force(p.Loads.PeakN.Mid) + ", low to high " + u.Forces(p.Loads.PeakN) + ".", drives, worked}, s.find("sea", "rode", "motion")},
		{"from-drift", "Drift through the water", []string{"The speed at which canopy and hull together hold against wind and waves; a current comes on top. In the hardest phase " + u.Drift(p.Loads.DriftKt.Mid) + " (" + u.Drifts(p.Loads.DriftKt) + ").", drives, worked}, s.find("steady")},
		{"from-canopy", "Canopy", []string{p.Canopy.Reason, "Hung " + u.Length(p.Canopy.DepthM) + " deep; filling on a held rode it pulls " + u.Forces(p.Canopy.FillingLoadN) + "."}, s.find("steady")},
		{"from-part", "What the parts bear", append(s.bases(), "Use is what the part has to bear over what it bears, at the middle peak load. "+drives), s.find("hardware", "rode")},
		{"from-expiry", "When the sheet goes out of date", []string{fmt.Sprintf("When the forecast ends, or %[1]s after it was issued, whichever is first; the %[1]s are our choice. Here: %[2]s.", measure.Hours(planner.HoldsFor.Hours()), s.ExpiresWhy)}, nil},
	}
	if p.Bridle != nil {
		list = append(list, Origin{"from-bridle", "Heading and legs", []string{p.Bridle.Text}, s.find("bridle")})
	}
	if len(s.Hours) > 0 {
		list = append(list, Origin{"from-hours", "Hours", s.causes(), nil})
	}
	if room := p.SeaRoom; room != nil {
		list = append(list, Origin{"from-sea-room", "Sea room", []string{room.Text, room.Limits, "Current: " + room.CurrentContained + "."}, s.find("sea room")})
	}
	if len(s.Steps) > 0 {
		list = append(list, Origin{"from-steps", "Figures in the work on deck", []string{"Lengths and loads are this plan's, as in the tables; what the canopy weighs on the way back is worked below. Times, counts and distances a hand keeps are common practice of the trade, without a source; each step's reason stands beside it."}, s.find("hauling", "motion")})
	}
	return list
}

// estimates says for each phase what was forecast, and what had to be estimated.
func (s Sheet) estimates() []string {
	list := []string{"Wind and sea are the forecast's (" + cmp.Or(s.Subject.Request.Forecast.Source, "no source named") + "); of each phase the worst step."}
	for _, row := range s.PayOut {
		if len(row.phase.Estimated) > 0 {
			list = append(list, fmt.Sprintf("%s: estimated, not forecast: %s.", row.Phase, strings.Join(row.phase.Estimated, ", ")))
		}
	}
	return list
}

// causes says of each hour why it is then.
func (s Sheet) causes() []string {
	var list []string
	for _, h := range s.Hours {
		list = append(list, fmt.Sprintf("%s: %s", h.Action, h.Why))
	}
	return list
}

// reasons says for each phase why that length.
func (s Sheet) reasons() []string {
	var list []string
	for _, row := range s.PayOut {
		list = append(list, fmt.Sprintf("%s, %s: %s.", row.Phase, row.Length, row.phase.PayOutReason))
	}
	return list
}

// bases says for each part where its capacity comes from.
func (s Sheet) bases() []string {
	var list []string
	for _, part := range s.Parts {
		list = append(list, fmt.Sprintf("%s, %s: %s.", part.Name, part.Capacity, strings.TrimSuffix(part.Basis, ".")))
	}
	return list
}

// find gives the steps of some sections of the working.
func (s Sheet) find(sections ...string) []WorkingStep {
	var list []WorkingStep
	for _, section := range sections {
		for _, step := range s.Working {
			if step.Section == section {
				list = append(list, step)
			}
		}
	}
	return list
}

// Figure writes a value of the working.
func Figure(v planner.WorkingValue) string {
	return strings.TrimSpace(measure.Figure(v.Value) + " " + v.Unit)
}
