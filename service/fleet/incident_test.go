package fleet_test

import (
	"testing"
	"time"

	"rideout/service/fleet"
)

func TestIncidentGroundsUntilItIsClosed(t *testing.T) {
	t.Parallel()
	occurred := time.Date(2026, 1, 2, 0, 0, 0, 0, time.UTC)
	closed := occurred.AddDate(0, 0, 10)
	yes, no := true, false
	for _, c := range []struct {
		name     string
		incident fleet.Incident
		at       time.Time
		want     bool
	}{
		{"a near miss", fleet.Incident{Severity: "near_miss"}, closed, false},
		{"a minor one", fleet.Incident{Severity: "minor"}, closed, false},
		{"a serious one", fleet.Incident{Severity: "serious"}, closed, true},
		{"a very serious one", fleet.Incident{Severity: "very_serious"}, closed, true},
		{"a serious one that says it does not", fleet.Incident{Severity: "serious", GroundsVessel: &no}, closed, false},
		{"a minor one that says it does", fleet.Incident{Severity: "minor", GroundsVessel: &yes}, closed, true},
		{"one before it was closed", fleet.Incident{Severity: "serious", ClosedAt: &closed}, closed.Add(-time.Second), true},
		{"one when it was closed", fleet.Incident{Severity: "serious", ClosedAt: &closed}, closed, false},
		{"a closed one that says it does", fleet.Incident{Severity: "minor", GroundsVessel: &yes, ClosedAt: &closed}, closed, false},
	} {
		if got := c.incident.Grounds(c.at); got != c.want {
			t.Errorf("%s: grounds %v, want %v", c.name, got, c.want)
		}
	}
}

func TestIncidentEndsAfterItBegan(t *testing.T) {
	t.Parallel()
	occurred := time.Date(2026, 1, 2, 0, 0, 0, 0, time.UTC)
	before, after, later := occurred.Add(-time.Hour), occurred.Add(time.Hour), occurred.AddDate(1, 0, 0)
	for _, c := range []struct {
		closed *time.Time
		how    string
		wrong  string // pointer; empty: nothing
	}{
		{nil, "", ""},
		{&after, "cleat bedded anew", ""},
		{&before, "cleat bedded anew", "/closed_at"},
		{&later, "cleat bedded anew", "/closed_at"},
		{&after, "", "/closed_how"},
		{nil, "cleat bedded anew", "/closed_at"},
	} {
		i := fleet.Incident{OccurredAt: occurred, Severity: "minor", ClosedAt: c.closed, ClosedHow: c.how}
		problems := i.Check(occurred.AddDate(0, 1, 0))
		switch {
		case c.wrong == "" && len(problems) == 0:
		case len(problems) != 1 || problems[0].Pointer != c.wrong:
			t.Errorf("closed %v %q: got %+v, want %q", c.closed, c.how, problems, c.wrong)
		}
	}
}
