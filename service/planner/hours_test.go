package planner_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"rideout/service/physics/quantity"
	"rideout/service/planner"
)

// blow is a forecast of wind in kt, gusts as the wind, and sea in m, by hours from dusk.
func blow(rows ...[3]float64) []planner.Step {
	var steps []planner.Step
	for _, r := range rows {
		s := step(int(r[0]), r[1], some(r[2]), some(8))
		s.GustMS = some(s.WindMS)
		steps = append(steps, s)
	}
	return steps
}

// lain is kestrel in a forecast, on two lengths of rode and few records so that the loads are soon computed.
func lain(steps []planner.Step) planner.Request {
	r := kestrel()
	r.Forecast.Steps, r.RodeTried = steps, []float64{90, 183}
	return few(r)
}

// soon computes a plan whose loads need not be settled.
func soon(t *testing.T, r planner.Request) planner.Plan {
	t.Helper()
	p, _, err := planner.Compute(t.Context(), r)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func hourOf(t *testing.T, p planner.Plan, action string) planner.Hour {
	t.Helper()
	i := slices.IndexFunc(p.Hours, func(h planner.Hour) bool { return h.Action == action })
	if i < 0 {
		t.Fatalf("no hour to %s in %+v", action, p.Hours)
	}
	return p.Hours[i]
}

// sinceDusk is a time as hours:minutes from the forecast's first step.
func sinceDusk(at *time.Time) string {
	if at == nil {
		return "-"
	}
	d := at.Sub(dusk)
	return fmt.Sprintf("%d:%02d", int(d.Hours()), int(d.Minutes())%60)
}

// Wind rises 3 kt an hour from 10 to 46 and falls so again; by hand: 22 kt at 4:00, 34 at 8:00, 41 at 10:20, 20 again
// after 20:40. Without a position no daylight moves anything.
func TestHoursFollowFromTheLimits(t *testing.T) {
	t.Parallel()
	p := soon(t, lain(blow([3]float64{0, 10, 1}, [3]float64{12, 46, 3}, [3]float64{24, 10, 1})))
	for action, want := range map[string][2]string{
		"rig": {"2:30", "4:00"}, "brief": {"6:00", "6:30"}, "deploy": {"6:30", "7:00"}, "settle": {"7:00", "8:00"}, "retrieve": {"20:41", "36:00"},
	} {
		h := hourOf(t, p, action)
		if got := [2]string{sinceDusk(h.From), sinceDusk(h.Until)}; got != want {
			t.Errorf("%s %v, want %v", action, got, want)
		}
	}
	if h := hourOf(t, p, "retrieve"); h.Verdict != "not_before" || !strings.Contains(h.Text, "Never safe to retrieve before 13 Jan 14:41 UTC") {
		t.Errorf("retrieve: %s, %q", h.Verdict, h.Text)
	}
}

func TestHoursVerdicts(t *testing.T) {
	t.Parallel()
	rise := [][3]float64{{0, 10, 1}, {12, 46, 3}, {24, 10, 1}}
	at := func(h float64, rows [][3]float64) func(*planner.Request) {
		return func(r *planner.Request) {
			r.Forecast.Steps, r.Forecast.IssuedAt = blow(rows...), dusk.Add(time.Duration(h*float64(time.Hour)))
		}
	}
	for name, c := range map[string]struct {
		change                func(*planner.Request)
		rig, deploy, retrieve string
		says                  string // in one of the hours
	}{
		"time for all":                      {at(0, rise), "in_time", "in_time", "not_before", "Later is too late"},
		"issued before its first step":      {at(-6, [][3]float64{{0, 45, 6}, {12, 40, 5}}), "in_time", "in_time", "not_in_forecast", "it says nothing of the hours before"},
		"rigging too late, deploying not":   {at(5, rise), "too_late", "in_time", "not_before", "only if she is rigged already"},
		"past the hour, deck work possible": {at(7.5, rise), "too_late", "too_late", "not_before", "at once"},
		"past every limit":                  {at(10.5, rise), "too_late", "too_late", "not_before", "Too late to deploy safely"},
		"sea alone passes":                  {at(0, [][3]float64{{0, 10, 1}, {12, 12, 7}, {24, 10, 6}}), "in_time", "in_time", "not_in_forecast", "Never safe to retrieve before the forecast's end"},
		"storm not forecast":                {at(0, [][3]float64{{0, 10, 1}, {12, 15, 1}}), "not_in_forecast", "not_in_forecast", "in_time", "does not ask for the sea anchor"},
		"drill": {func(r *planner.Request) {
			at(0, [][3]float64{{0, 10, 1}, {12, 15, 1}})(r)
			r.Intent = planner.Drill
		}, "in_time", "in_time", "in_time", "when you choose"},
		"drill in rising wind": {func(r *planner.Request) {
			at(0, [][3]float64{{0, 10, 1}, {12, 30, 2}})(r)
			r.Intent = planner.Drill
		}, "in_time", "in_time", "in_time", "You choose the hour; the latest to be done is 13 Jan 01:12 UTC"},
		"ends before she has settled": {at(0, [][3]float64{{0, 10, 1}}), "not_in_forecast", "not_in_forecast", "not_in_forecast", "before she has settled"},
		"flat calm":                   {at(0, [][3]float64{{0, 0, 0}, {12, 0, 0}}), "not_in_forecast", "not_in_forecast", "in_time", "Retrieve when you choose"},
		"policy of a careful fleet": {func(r *planner.Request) {
			at(0, [][3]float64{{0, 10, 1}, {12, 15, 1}})(r)
			q := planner.DefaultPolicy()
			q.RigAboveKt, q.DeployAboveKt, q.RetrieveBelowKt = 9, 14, 9
			r.Policy = &q
		}, "too_late", "in_time", "not_in_forecast", "limit for rigging (wind or gusts of 9 kt)"},
		"calm between two gales":  {at(0, [][3]float64{{0, 40, 4}, {6, 12, 1}, {10, 12, 1}, {14, 38, 4}, {20, 36, 4}}), "too_late", "too_late", "not_before", "then the limits are passed again"},
		"forecast of long ago":    {at(-2400, rise), "in_time", "in_time", "not_before", "Counted from the forecast's first step"},
		"issued after its end":    {at(400, rise), "in_time", "in_time", "not_before", "Counted from the forecast's first step"},
		"a lull too short to use": {at(0, [][3]float64{{0, 40, 4}, {6, 22, 2}, {7, 19, 2}, {8, 22, 2}, {14, 30, 3}}), "too_late", "too_late", "not_in_forecast", "Stay on it"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := lain(nil)
			c.change(&r)
			p := soon(t, r)
			for action, want := range map[string]string{"rig": c.rig, "deploy": c.deploy, "retrieve": c.retrieve} {
				if h := hourOf(t, p, action); h.Verdict != want {
					t.Errorf("%s: %s, want %s: %s", action, h.Verdict, want, h.Text)
				}
			}
			if !slices.ContainsFunc(p.Hours, func(h planner.Hour) bool { return strings.Contains(h.Text+h.Why, c.says) }) {
				t.Errorf("no hour says %q: %+v", c.says, p.Hours)
			}
			for action, code := range map[string]string{"rig": "too_late_to_rig", "deploy": "too_late_to_deploy"} {
				if want := hourOf(t, p, action).Verdict == "too_late"; warned(p, code) != want {
					t.Errorf("warning %s: %v, want %v", code, !want, want)
				}
			}
		})
	}
}

func TestHoursAreInOrder(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(1, 2))
	for i := range 16 {
		var rows [][3]float64
		for at, kt := 0.0, 10+40*random.Float64(); at < 60; at += 3 + float64(random.IntN(6)) {
			kt = min(max(kt+20*(random.Float64()-0.5), 2), 60)
			rows = append(rows, [3]float64{at, kt, 0.5 + kt/10*random.Float64()})
		}
		r := lain(blow(rows...))
		r.Forecast.IssuedAt = dusk.Add(time.Duration(random.IntN(30)-15) * time.Hour)
		if i%2 == 0 {
			r.Position = &planner.Position{LatitudeDeg: 140*random.Float64() - 70, LongitudeDeg: -30}
		}
		t.Run(fmt.Sprint(i), func(t *testing.T) {
			t.Parallel()
			ordered(t, soon(t, r))
		})
	}
}

// ordered holds what every timeline must have.
func ordered(t *testing.T, p planner.Plan) {
	t.Helper()
	var before, watched *time.Time
	for _, h := range p.Hours {
		if h.Text == "" || h.Why == "" {
			t.Errorf("%s has no text or no reason", h.Action)
		}
		if h.From == nil || h.Until == nil {
			if h.Action != "retrieve" || h.Verdict != "not_in_forecast" {
				t.Errorf("%s (%s) has no time", h.Action, h.Verdict)
			}
			continue
		}
		if h.Until.Before(*h.From) || before != nil && h.From.Before(*before) {
			t.Errorf("%s from %s until %s is out of order", h.Action, h.From, h.Until)
		}
		before = h.From
		if h.Action != "watch" {
			continue
		}
		if watched != nil && !watched.Equal(*h.From) {
			t.Errorf("nobody watches from %s to %s", watched, h.From)
		}
		watched = h.Until
		if *h.EveryH < 0.25 || *h.EveryH > 2 || *h.PayOutM <= 0 || *h.PayOutM > 183 {
			t.Errorf("watch every %g h on %g m", *h.EveryH, *h.PayOutM)
		}
	}
}

func TestLight(t *testing.T) {
	t.Parallel()
	rise := blow([3]float64{0, 10, 1}, [3]float64{12, 46, 3}, [3]float64{24, 10, 1})
	summer := blow([3]float64{0, 10, 1}, [3]float64{12, 46, 3}, [3]float64{24, 10, 1})
	for i := range summer {
		summer[i].Time = summer[i].Time.AddDate(0, 6, 0)
	}
	for name, c := range map[string]struct {
		at    *planner.Position
		steps []planner.Step
		light string // of every hour
		says  string
	}{
		"no position":  {nil, rise, "unknown", "Never safe to retrieve"},
		"polar night":  {&planner.Position{LatitudeDeg: 78, LongitudeDeg: 10}, rise, "dark", "there is no light before it"},
		"midnight sun": {&planner.Position{LatitudeDeg: 78, LongitudeDeg: 10}, summer, "day", "Later is too late"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := lain(c.steps)
			r.Position = c.at
			p := soon(t, r)
			for _, h := range p.Hours {
				if h.Light != c.light {
					t.Errorf("%s: light %s, want %s", h.Action, h.Light, c.light)
				}
			}
			if !slices.ContainsFunc(p.Hours, func(h planner.Hour) bool { return strings.Contains(h.Text, c.says) }) {
				t.Errorf("no hour says %q", c.says)
			}
			if warned(p, "light_unknown") != (c.at == nil) {
				t.Errorf("warnings %+v", p.Warnings)
			}
		})
	}
}

// In the contract's example the latest hours fall after sunset, about 15:45 UTC there by the almanac's rule of
// thumb for the latitude and longitude: rigging and deployment are moved up into the day.
func TestDaylightMovesTheDeployment(t *testing.T) {
	t.Parallel()
	r := lain(blow([3]float64{0, 45, 6}, [3]float64{12, 40, 5}))
	r.Position, r.Forecast.IssuedAt = &planner.Position{LatitudeDeg: 61.2, LongitudeDeg: -6.4}, dusk.Add(-6*time.Hour)
	p := soon(t, r)
	for _, action := range []string{"rig", "deploy"} {
		if h := hourOf(t, p, action); h.Light != "day" || !strings.Contains(h.Text, "for the daylight") {
			t.Errorf("%s in the %s: %s", action, h.Light, h.Text)
		}
	}
	ordered(t, p)
}

// More wear, shorter watches: the interval never grows with the wind or without a guard at the fairlead.
func TestWatchIsShorterAsItGetsWorse(t *testing.T) {
	t.Parallel()
	every := func(kt, hs float64, chafe bool) float64 {
		r := lain(blow([3]float64{0, kt, hs}))
		r.Gear.Chafe = chafe
		return *hourOf(t, soon(t, r), "watch").EveryH
	}
	before := 2.0
	for _, c := range [][2]float64{{10, 0.5}, {25, 2}, {38, 4.5}, {52, 8}} {
		guarded, bare := every(c[0], c[1], true), every(c[0], c[1], false)
		if guarded > before || bare > guarded {
			t.Errorf("%g kt: every %g h guarded, %g h bare, before %g h", c[0], guarded, bare, before)
		}
		before = guarded
	}
}

func TestRodeGoesOutBeforeTheStorm(t *testing.T) {
	t.Parallel()
	r := lain(blow([3]float64{0, 10, 0.5}, [3]float64{12, 35, 3}, [3]float64{24, 55, 9}, [3]float64{36, 10, 1}))
	p := soon(t, r)
	out := 0.0
	for _, h := range p.Hours {
		if h.PayOutM == nil {
			continue
		}
		if h.Action == "adjust" && *h.PayOutM == out {
			t.Errorf("adjusts from %g m to the same", out)
		}
		if h.Action == "hold" && *h.PayOutM != out {
			t.Errorf("holds at %g m with %g m out", *h.PayOutM, out)
		}
		if h.Action != "watch" {
			out = *h.PayOutM
		} else if *h.PayOutM != out {
			t.Errorf("watches %g m with %g m out", *h.PayOutM, out)
		}
	}
	if worst := p.Rode.PayOutM; out < worst && !slices.ContainsFunc(p.Hours, func(h planner.Hour) bool { return h.PayOutM != nil && *h.PayOutM >= worst }) {
		t.Errorf("never has the %g m of the worst phase out", worst)
	}
	if quantity.Knots(r.Forecast.Steps[0].WindMS) > 11 {
		t.Fatal("the case begins in a calm")
	}
}
