package planner_test

import (
	"strings"
	"testing"
	"time"

	"rideout/service/physics/quantity"
	"rideout/service/planner"
)

func TestCompare(t *testing.T) {
	t.Parallel()
	r := at(leeShore)
	before := compute(t, r)
	if c := planner.Compare(before, before); len(c.Changes) != 0 || c.Summary != "Nothing of note has changed." {
		t.Errorf("a plan differs from itself: %+v", c)
	}
	worse := r
	worse.Forecast.Steps = nil
	for _, s := range r.Forecast.Steps {
		s.Time = s.Time.Add(-3 * time.Hour)
		s.WindMS += quantity.MetresPerSecond(5)
		worse.Forecast.Steps = append(worse.Forecast.Steps, s)
	}
	there, back := planner.Compare(before, compute(t, worse)), planner.Compare(compute(t, worse), before)
	found := map[string]planner.Change{}
	for _, c := range there.Changes {
		found[c.What] = c
	}
	if c, ok := found["drift"]; !ok || !c.Worse || *c.After <= *c.Before {
		t.Errorf("drift: %+v", c)
	}
	if c, ok := found["storm begins"]; !ok || !strings.Contains(c.Text, "3.0 h earlier") {
		t.Errorf("storm begins: %+v", c)
	}
	if len(back.Changes) != len(there.Changes) {
		t.Errorf("%d changes there, %d back", len(there.Changes), len(back.Changes))
	}
	if !strings.Contains(there.Summary, "ask more") {
		t.Errorf("summary: %s", there.Summary)
	}
}
