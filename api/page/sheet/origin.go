package sheet

import (
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
	p := s.Subject.Plan
	worked := "The steps named are those of the hardest phase; the others are computed alike."
	drives := "What is uncertain: " + p.Bands.Text
	list := []Origin{
		{"from-pay-out", "Rode to pay out", append(s.reasons(), worked), s.find("motion", "rode")},
		{"from-steady", "Steady pull", []string{"The pull in wind and current without the waves' motion.", worked}, s.find("wind", "steady")},
		{"from-peak", "Peak load", []string{"90 of a hundred stretches of 3 h stay below it. It is the middle estimate; the ends are in the column beside it.", drives, worked}, s.find("sea", "rode", "motion")},
		{"from-drift", "Drift through the water", []string{"The speed at which canopy and hull together hold against wind and waves; a current comes on top.", worked}, s.find("steady")},
		{"from-part", "What the parts bear", s.bases(), s.find("hardware", "rode")},
	}
	if p.Bridle != nil {
		list = append(list, Origin{"from-bridle", "Heading and legs", []string{p.Bridle.Text}, s.find("bridle")})
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
