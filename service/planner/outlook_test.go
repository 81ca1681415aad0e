package planner_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"rideout/service/planner"
)

func TestOutlookSaysWhatIsAsked(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 1, 12, 18, 0, 0, 0, time.UTC)
	hours := func(deploy, retrieve string) []planner.Hour {
		h := []planner.Hour{{Action: "deploy", Verdict: deploy, From: &at, Until: &at}, {Action: "retrieve", Verdict: retrieve, From: &at}}
		if retrieve == "not_in_forecast" {
			h[1].From = nil
		}
		return h
	}
	for _, c := range []struct {
		deploy, retrieve string
		lying            bool
		intent           planner.Intent
		want             planner.Act
		by, notBefore    bool
	}{
		{"in_time", "not_before", false, planner.RideOutStorm, planner.ActDeploy, true, false},
		{"too_late", "not_before", false, planner.RideOutStorm, planner.ActTooLate, true, false},
		{"not_in_forecast", "in_time", false, planner.RideOutStorm, planner.ActWatch, false, false},
		{"in_time", "in_time", false, planner.SlowDrift, planner.ActWatch, false, false},
		{"", "not_before", true, planner.RideOutStorm, planner.ActLie, false, true},
		{"", "not_in_forecast", true, planner.RideOutStorm, planner.ActLie, false, false},
		{"", "in_time", true, planner.RideOutStorm, planner.ActRetrieve, false, true},
	} {
		p := planner.Plan{Intent: c.intent, Hours: hours(c.deploy, c.retrieve)}
		if c.lying {
			p.Lying, p.Hours = &planner.Lying{RodeOutM: 90}, p.Hours[1:]
		}
		o := planner.OutlookOf(p)
		if o.Act != c.want || (o.By != nil) != c.by || (o.NotBefore != nil) != c.notBefore {
			t.Errorf("deploy %s, retrieve %s, lying %t: %s, by %v, not before %v; want %s", c.deploy, c.retrieve, c.lying, o.Act, o.By, o.NotBefore, c.want)
		}
		late := slices.Contains(o.Outside, "the hour to deploy is past")
		if want := c.deploy == "too_late"; late != want {
			t.Errorf("deploy %s, lying %t: outside %q; that the hour is past: want %t", c.deploy, c.lying, o.Outside, want)
		}
	}
}

func TestOutlookNamesWhatIsTooMuch(t *testing.T) {
	t.Parallel()
	low := 5.5
	ends := time.Date(2026, 1, 13, 6, 0, 0, 0, time.UTC)
	fit := planner.Plan{Canopy: planner.CanopyAdvice{Verdict: "suits"}, Rode: planner.RodeAdvice{Verdict: "suits"}, Phases: []planner.Phase{{Until: ends}, {Until: ends.Add(-time.Hour)}}}
	if o := planner.OutlookOf(fit); len(o.Outside) != 0 || o.AshoreShare != nil || !o.ForecastEnds.Equal(ends) {
		t.Errorf("outside %q, ashore %v, ends %v; want nothing, unknown, %v", o.Outside, o.AshoreShare, o.ForecastEnds, ends)
	}
	weak := planner.Plan{
		Canopy: planner.CanopyAdvice{Verdict: "not_carried"}, Rode: planner.RodeAdvice{Verdict: "short"},
		Hardware: []planner.Part{{Part: "bow bitt", Verdict: "over", Use: 1.2, Governing: true}, {Part: "swivel", Verdict: "within", Use: 0.4}},
		SeaRoom:  &planner.SeaRoom{ProbabilityAshore: 0.3, TimeToLeeShoreH: planner.Reach{Low: &low}},
	}
	o := planner.OutlookOf(weak)
	for i, want := range []string{"canopy: not carried", "rode: short", "bow bitt: bears 120 %", "5.5 h, and 30 %"} {
		if len(o.Outside) != 4 || !strings.Contains(o.Outside[i], want) {
			t.Errorf("outside %q, want one that says %q", o.Outside, want)
		}
	}
	if o.Weakest != "bow bitt" || o.WeakestUse != 1.2 || *o.AshoreShare != 0.3 || *o.EarliestH != low {
		t.Errorf("outlook %+v, want the bow bitt at 1.2 and the lee shore", o)
	}
}
