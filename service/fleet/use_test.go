package fleet_test

import (
	"math"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
	"rideout/service/planner"
)

var six = time.Date(2026, 1, 12, 6, 0, 0, 0, time.UTC)

func hour(n float64) time.Time { return six.Add(time.Duration(n * float64(time.Hour))) }

// wear is a forecast of strong wind for 6 h, gale for 6, storm for 3 and gale again for 3.
var wear = []planner.PhaseWear{
	{Name: "strong_wind", Spans: []planner.Span{{From: hour(0), Until: hour(6)}}, PerHour: planner.Band{Low: 0.0001, Mid: 0.0002, High: 0.0004}},
	{Name: "gale", Spans: []planner.Span{{From: hour(6), Until: hour(12)}, {From: hour(15), Until: hour(18)}}, PerHour: planner.Band{Low: 0.001, Mid: 0.002, High: 0.004}},
	{Name: "storm", Spans: []planner.Span{{From: hour(12), Until: hour(15)}}, PerHour: planner.Band{Low: 0.01, Mid: 0.02, High: 0.04}},
}

// A deployment adds its hours in each phase of the plan, each at the phase's cost; worked out by hand.
func TestUseOfADeployment(t *testing.T) {
	t.Parallel()
	late := hour(1000)
	for _, c := range []struct {
		name                         string
		from                         float64
		until                        *time.Time
		at                           time.Time
		hours, outside, storm, share float64
		retrieved                    bool
	}{
		{"within", 4, p(hour(13)), late, 9, 0, 7, 2*0.0002 + 6*0.002 + 1*0.02, true},
		{"before the forecast, as its first phase", -2, p(hour(1)), late, 3, 2, 0, 3 * 0.0002, true},
		{"after the forecast, as its last phase", 17, p(hour(22)), late, 5, 4, 5, 5 * 0.002, true},
		{"wholly after it", 20, p(hour(22)), late, 2, 2, 2, 2 * 0.002, true},
		{"not retrieved: to the end of the forecast", 14, nil, late, 4, 0, 4, 1*0.02 + 3*0.002, false},
		{"not retrieved yet", 14, nil, hour(16), 2, 0, 2, 1*0.02 + 1*0.002, false},
		{"asked while she lies to it", 14, p(hour(18)), hour(16), 2, 0, 2, 1*0.02 + 1*0.002, false},
		{"retrieved at once", 14, p(hour(14)), late, 0, 0, 0, 0, true},
	} {
		l := fleet.Lying{From: hour(c.from), Until: c.until, Wear: wear}
		got := l.Use(c.at)
		if got.Hours != c.hours || got.OutsideH != c.outside || got.StormHours != c.storm || math.Abs(got.FatigueShare.Mid-c.share) > 1e-12 || got.Retrieved != c.retrieved {
			t.Errorf("%s: got %+v, want %g h, %g outside, %g of storm, share %g, retrieved %v", c.name, got, c.hours, c.outside, c.storm, c.share, c.retrieved)
		}
		if b := got.FatigueShare; math.Abs(b.Low-b.Mid/2) > 1e-12 || math.Abs(b.High-2*b.Mid) > 1e-12 {
			t.Errorf("%s: band %+v, want half and twice the middle at its ends", c.name, b)
		}
	}
}

func p[T any](v T) *T { return &v }

// What deployments add comes on top of what the item says; of a canopy no fatigue is reckoned; the limit was reached with
// the deployment whose end brought the sum there.
func TestUseAddsUp(t *testing.T) {
	t.Parallel()
	lain := []fleet.Lying{
		{DeploymentID: uuid.UUID{2}, From: hour(12), Until: p(hour(15)), Wear: wear},
		{DeploymentID: uuid.UUID{1}, From: hour(6), Until: p(hour(10)), Wear: wear},
		{DeploymentID: uuid.UUID{3}, From: hour(40), Until: p(hour(50)), Wear: wear}, // not yet
	}
	u := fleet.UseOf(fleet.GearItem{Kind: "rode", StormHours: 100, FatigueShare: 0.1}, lain, hour(30))
	if u.Hours != 7 || u.StormHours != 107 || math.Abs(u.FatigueShare.Mid-(0.1+4*0.002+3*0.02)) > 1e-12 || len(u.Deployments) != 2 || u.Deployments[0].DeploymentID != (uuid.UUID{1}) {
		t.Errorf("rode: %+v", u)
	}
	storm := func(d fleet.DeploymentUse) float64 { return d.StormHours }
	for limit, want := range map[float64]*time.Time{99: nil, 104: p(hour(10)), 105: p(hour(15)), 108: nil} {
		if got := u.ReachedAt(100, limit, storm); (got == nil) != (want == nil) || got != nil && !got.Equal(*want) {
			t.Errorf("limit %g: reached at %v, want %v", limit, got, want)
		}
	}
	u = fleet.UseOf(fleet.GearItem{Kind: "canopy"}, lain, hour(30))
	if u.StormHours != 7 || u.FatigueShare != (planner.Band{}) || u.Deployments[0].FatigueShare != (planner.Band{}) {
		t.Errorf("canopy: %+v", u)
	}
}
