package readiness_test

import (
	"flag"
	"math"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
	"rideout/service/physics/canopy"
	"rideout/service/physics/rode"
	"rideout/service/planner"
	"rideout/service/readiness"
)

var update = flag.Bool("update", false, "write RULES.md anew")

// now is when the vessels of these tests are judged.
var now = time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)

func on(year int, month time.Month, day int) time.Time {
	return time.Date(year, month, day, 0, 0, 0, 0, time.UTC)
}

func as(at time.Time) readiness.As { return readiness.As{ValidAt: at, KnownAt: at} }

// sound is a vessel with which nothing is wrong.
func sound() readiness.State {
	registered := on(2024, 1, 1)
	items := []fleet.GearItem{
		{Kind: "canopy", Name: "storm canopy", Canopy: &fleet.Canopy{Shape: canopy.FlatCircular, DiameterM: 5.5}},
		{Kind: "rode", FirstUsedOn: "2024-01-10", Rode: &fleet.Rode{Construction: rode.ThreeStrand, DiameterMM: 22, LengthM: 183}},
		{Kind: "shackle", Shackle: &fleet.Shackle{BodyMM: 16}},
		{Kind: "trip_line", TripLine: &fleet.TripLine{LengthM: 30}},
		{Kind: "float", Float: &fleet.Float{BuoyancyN: 300}},
		{Kind: "bridle", Bridle: &fleet.Bridle{Construction: rode.ThreeStrand, DiameterMM: 22, LegM: 20}},
		{Kind: "knife"},
		{Kind: "light"},
	}
	s := readiness.State{ID: uuid.UUID{1}, Since: registered, FirstSeen: registered}
	s.Vessel.Name, s.Vessel.Status, s.Vessel.DesignCategory = "Tern of Hamna", "in_service", "B"
	for i, item := range items {
		g := readiness.Gear{ID: uuid.UUID{2, byte(i)}, Item: &item, Since: registered, FirstSeen: registered}
		if item.Kind != "knife" && item.Kind != "light" {
			g.Inspection = &readiness.Inspection{ID: uuid.UUID{3, byte(i)}, At: on(2026, 3, 1), Verdict: "fit"}
		}
		s.Gear = append(s.Gear, g)
	}
	s.Drill = &readiness.Drill{ID: uuid.UUID{4}, At: on(2026, 4, 1)}
	s.Incidents = []readiness.Incident{{ID: uuid.UUID{5}, Incident: fleet.Incident{OccurredAt: on(2025, 9, 1), Kind: "rode_chafed", Severity: "minor"}}}
	s.Plan = &readiness.Plan{
		ID: uuid.UUID{6}, MadeAt: on(2026, 3, 2), Intent: planner.RideOutStorm, Engine: planner.Engine, WindKt: 52, HsM: 8,
		CanopyVerdict: "suits", RodeVerdict: "suits", Part: "rode", Use: 0.7, PartVerdict: "within", Outfit: outfit(items),
	}
	return s
}

func outfit(items []fleet.GearItem) []string {
	set, _ := fleet.SetOf(items, make([]uuid.UUID, len(items)), nil, now)
	return readiness.Outfit(set.Planned())
}

// gear gives the item of a kind.
func gear(s *readiness.State, kind string) *readiness.Gear {
	return &s.Gear[slices.IndexFunc(s.Gear, func(g readiness.Gear) bool { return g.Item.Kind == kind })]
}

// drop takes the items of a kind off, and out of what the plan was made for.
func drop(s *readiness.State, kind string) {
	s.Gear = slices.DeleteFunc(s.Gear, func(g readiness.Gear) bool { return g.Item.Kind == kind })
	s.Plan.Outfit = slices.DeleteFunc(s.Plan.Outfit, func(line string) bool { return strings.HasPrefix(line, kind) })
}

func some[T any](v T) *T { return &v }

// broken breaks one rule at a time, and no other; kept goes as near as it may and breaks none.
var broken = []struct {
	code         string
	breaks, keep func(s *readiness.State, w *readiness.Window)
	since        time.Time // zero: the records do not tell
	says         string
}{
	{
		"vessel_not_in_service", func(s *readiness.State, _ *readiness.Window) { s.Vessel.Status, s.Since = "laid_up", on(2026, 5, 1) },
		func(s *readiness.State, _ *readiness.Window) { s.Vessel.Status = "in_service" }, on(2026, 5, 1), "laid up",
	},
	{
		"incident_grounds", func(s *readiness.State, _ *readiness.Window) { s.Incidents[0].Severity = "serious" },
		func(s *readiness.State, _ *readiness.Window) {
			s.Incidents[0].Severity, s.Incidents[0].ClosedAt = "very_serious", some(now)
		}, on(2025, 9, 1), "1 September 2025",
	},
	{
		"incident_grounds", func(s *readiness.State, _ *readiness.Window) { s.Incidents[0].GroundsVessel = some(true) },
		func(s *readiness.State, _ *readiness.Window) {
			s.Incidents[0].Severity, s.Incidents[0].GroundsVessel = "serious", some(false)
		}, on(2025, 9, 1), "not closed",
	},
	{
		"plan_missing", func(s *readiness.State, _ *readiness.Window) { s.Plan = nil },
		func(*readiness.State, *readiness.Window) {}, on(2024, 1, 1), "No plan",
	},
	{
		"plan_missing", func(s *readiness.State, _ *readiness.Window) { s.Plan.SupersededAt = some(on(2026, 5, 5)) },
		func(*readiness.State, *readiness.Window) {}, on(2026, 5, 5), "5 May 2026",
	},
	{
		"plan_below_design_storm", func(s *readiness.State, _ *readiness.Window) { s.Plan.WindKt = 51.9 },
		func(s *readiness.State, _ *readiness.Window) { s.Plan.WindKt = 60 }, on(2026, 3, 2), "51.9 kt",
	},
	{
		"plan_below_design_storm", func(s *readiness.State, _ *readiness.Window) { s.Plan.HsM = 7.99 },
		func(s *readiness.State, _ *readiness.Window) { s.Plan.HsM = 8 }, on(2026, 3, 2), "7.99 m",
	},
	{
		"plan_canopy_unsuited", func(s *readiness.State, _ *readiness.Window) { s.Plan.CanopyVerdict = "small" },
		func(*readiness.State, *readiness.Window) {}, on(2026, 3, 2), "too small",
	},
	{
		"plan_rode_unsuited", func(s *readiness.State, _ *readiness.Window) { s.Plan.RodeVerdict = "short" },
		func(*readiness.State, *readiness.Window) {}, on(2026, 3, 2), "too short",
	},
	{
		"part_over_capacity", func(s *readiness.State, _ *readiness.Window) { s.Plan.PartVerdict, s.Plan.Use = "over", 1.2 },
		func(*readiness.State, *readiness.Window) {}, on(2026, 3, 2), "120 %",
	},
	{
		"part_over_at_high_end", func(s *readiness.State, _ *readiness.Window) { s.Plan.UseHigh = 1.12 },
		func(s *readiness.State, _ *readiness.Window) { s.Plan.UseHigh = 1 }, on(2026, 3, 2), "112 %",
	},
	{
		"part_marginal", func(s *readiness.State, _ *readiness.Window) { s.Plan.PartVerdict, s.Plan.Use = "marginal", 0.93 },
		func(*readiness.State, *readiness.Window) {}, on(2026, 3, 2), "93 %",
	},
	{
		"plan_old_engine", func(s *readiness.State, _ *readiness.Window) { s.Plan.Engine = "rideout-1" },
		func(s *readiness.State, _ *readiness.Window) { s.Plan.Engine = planner.Engine }, on(2026, 3, 2), "rideout-1",
	},
	{
		"plan_for_other_gear", func(s *readiness.State, _ *readiness.Window) {
			gear(s, "shackle").Item.Shackle = &fleet.Shackle{BodyMM: 12}
			gear(s, "shackle").Since = on(2026, 4, 4)
		},
		func(s *readiness.State, _ *readiness.Window) { gear(s, "rode").Item.Rode.AgeYears = some(2.0) }, on(2026, 4, 4), "no longer rigged: shackle 16 mm.",
	},
	{"gear_missing_canopy", dropping("canopy"), asSpareBeside("canopy"), on(2024, 1, 1), "No canopy"},
	{"gear_missing_rode", dropping("rode"), asSpareBeside("rode"), on(2024, 1, 1), "No rode"},
	{"gear_missing_knife", dropping("knife"), asSpare("knife"), on(2024, 1, 1), "No knife"},
	{"gear_missing_trip_line", dropping("trip_line"), asSpare("trip_line"), on(2024, 1, 1), "No trip line"},
	{"gear_missing_float", dropping("float"), asSpare("float"), on(2024, 1, 1), "No float"},
	{"gear_missing_bridle", dropping("bridle"), asSpare("bridle"), on(2024, 1, 1), "No bridle"},
	{"gear_missing_light", retiring("light"), asSpare("light"), on(2026, 2, 2), "retired on 2 February 2026"},
	{
		"inspection_missing", func(s *readiness.State, _ *readiness.Window) { gear(s, "canopy").Inspection = nil },
		func(s *readiness.State, _ *readiness.Window) { gear(s, "knife").Inspection = nil }, on(2024, 1, 1), "never been inspected",
	},
	{
		"inspection_overdue", func(s *readiness.State, _ *readiness.Window) { gear(s, "canopy").Inspection.At = now.AddDate(-1, 0, 0) },
		func(s *readiness.State, _ *readiness.Window) {
			gear(s, "canopy").Inspection.At = now.AddDate(-1, 0, 0).Add(time.Second)
		}, now, "every 12 months",
	},
	{
		"inspection_failed", func(s *readiness.State, _ *readiness.Window) { gear(s, "float").Inspection.Verdict = "repair" },
		func(s *readiness.State, _ *readiness.Window) {
			gear(s, "float").Inspection.Verdict = "repair"
			gear(s, "float").Item.Spare = true
			s.Plan.Outfit = slices.DeleteFunc(s.Plan.Outfit, func(line string) bool { return strings.HasPrefix(line, "float") })
		}, on(2026, 3, 1), "need of repair",
	},
	{
		"inspection_failed", func(s *readiness.State, _ *readiness.Window) { gear(s, "rode").Inspection.Verdict = "retire" },
		func(*readiness.State, *readiness.Window) {}, on(2026, 3, 1), "unfit",
	},
	{
		"inspection_watch", func(s *readiness.State, _ *readiness.Window) { gear(s, "bridle").Inspection.Verdict = "watch" },
		func(*readiness.State, *readiness.Window) {}, on(2026, 3, 1), "watched",
	},
	{
		"drill_missing", func(s *readiness.State, _ *readiness.Window) { s.Drill = nil },
		func(*readiness.State, *readiness.Window) {}, on(2024, 1, 1), "No drill",
	},
	{
		"drill_overdue", func(s *readiness.State, _ *readiness.Window) { s.Drill.At = on(2025, 5, 30) },
		func(s *readiness.State, _ *readiness.Window) { s.Drill.At = on(2025, 6, 2) }, on(2026, 5, 30), "30 May 2026",
	},
	{
		"rode_age_unknown", func(s *readiness.State, _ *readiness.Window) { gear(s, "rode").Item.FirstUsedOn = "" },
		func(s *readiness.State, _ *readiness.Window) {
			gear(s, "rode").Item.FirstUsedOn, gear(s, "rode").Item.MadeOn = "", "2023-12-01"
		}, on(2024, 1, 1), "how old",
	},
	{
		"rode_too_old", func(s *readiness.State, _ *readiness.Window) { gear(s, "rode").Item.FirstUsedOn = "2016-06-01" },
		func(s *readiness.State, _ *readiness.Window) { gear(s, "rode").Item.FirstUsedOn = "2016-06-02" },
		on(2016, 6, 1).Add(3652.5 * 24 * time.Hour), "10 years",
	},
	{
		"rode_used_up", func(s *readiness.State, _ *readiness.Window) { gear(s, "rode").Item.StormHours = 200 },
		func(s *readiness.State, _ *readiness.Window) { gear(s, "rode").Item.StormHours = 199 }, on(2024, 1, 1), "200 hours",
	},
	{
		"rode_fatigued", func(s *readiness.State, _ *readiness.Window) { gear(s, "rode").Item.FatigueShare = 0.5 },
		func(s *readiness.State, _ *readiness.Window) { gear(s, "rode").Item.FatigueShare = 0.49 }, on(2024, 1, 1), "50 %",
	},
	{
		"rode_used_up", func(s *readiness.State, _ *readiness.Window) {
			gear(s, "rode").Item.StormHours = 150
			gear(s, "rode").Lain = []fleet.Lying{lain(on(2026, 2, 1), 30, 0), lain(on(2026, 2, 10), 20, 0)}
		},
		func(s *readiness.State, _ *readiness.Window) {
			gear(s, "rode").Item.StormHours = 150
			gear(s, "rode").Lain = []fleet.Lying{lain(on(2026, 2, 1), 30, 0), lain(on(2026, 2, 10), 19, 0)}
		}, on(2026, 2, 10).Add(20 * time.Hour), "200 hours",
	},
	{
		"rode_fatigued", func(s *readiness.State, _ *readiness.Window) {
			gear(s, "rode").Lain = []fleet.Lying{lain(on(2026, 2, 1), 30, 0.01), lain(on(2026, 2, 10), 20, 0.01)}
		},
		func(s *readiness.State, _ *readiness.Window) {
			gear(s, "rode").Lain = []fleet.Lying{lain(on(2026, 2, 1), 30, 0.01), lain(on(2026, 2, 10), 19, 0.01)}
		}, on(2026, 2, 10).Add(20 * time.Hour), "50 %",
	},
	{
		"canopy_used_up", func(s *readiness.State, _ *readiness.Window) {
			gear(s, "canopy").Lain = []fleet.Lying{lain(on(2026, 2, 1), 400, 0)}
		},
		func(s *readiness.State, _ *readiness.Window) {
			gear(s, "canopy").Lain = []fleet.Lying{lain(on(2026, 2, 1), 399, 1)} // no fatigue is computed of it
		}, on(2026, 2, 1).Add(400 * time.Hour), "retires a canopy after 400",
	},
	{
		"rode_chafed", func(s *readiness.State, _ *readiness.Window) {
			gear(s, "rode").Chafe = &readiness.Chafe{InspectionID: uuid.UUID{7}, At: on(2026, 2, 3), Share: 0.1}
		},
		func(s *readiness.State, _ *readiness.Window) {
			gear(s, "rode").Chafe = &readiness.Chafe{InspectionID: uuid.UUID{7}, At: on(2026, 2, 3), Share: 0.09}
		}, on(2026, 2, 3), "10 %",
	},
	{
		"rode_chafed", func(s *readiness.State, _ *readiness.Window) { // the figures say nothing of it
			g := gear(s, "rode")
			g.Item.Rode.ChafedShare = some(0.0)
			g.Chafe = &readiness.Chafe{InspectionID: uuid.UUID{7}, At: on(2026, 2, 3), Share: 0.3}
		},
		func(s *readiness.State, _ *readiness.Window) {
			g := gear(s, "rode")
			g.Item.Rode.ChafedShare = some(0.0)
			g.Chafe = &readiness.Chafe{InspectionID: uuid.UUID{7}, At: on(2026, 2, 3), Share: 0.02}
		}, on(2026, 2, 3), "30 %",
	},
	{
		"weather_beyond_plan", func(s *readiness.State, w *readiness.Window) {
			s.Vessel.DesignCategory, w.Usual.WindKt = "A", some(53.0)
		},
		func(s *readiness.State, w *readiness.Window) {
			s.Vessel.DesignCategory, w.Usual.WindKt, w.Usual.HsM = "A", some(52.0), some(8.0)
		},
		time.Time{},
		"53 kt",
	},
	{
		"weather_beyond_category", func(_ *readiness.State, w *readiness.Window) { w.Usual.HsM = some(4.1) },
		func(_ *readiness.State, w *readiness.Window) { w.Usual.WindKt, w.Usual.HsM = some(40.0), some(4.0) },
		time.Time{},
		"category B",
	},
}

// lain is a deployment of so many hours in a gale, each of which costs a share of the rode's life.
func lain(from time.Time, hours int, perHour float64) fleet.Lying {
	until := from.Add(time.Duration(hours) * time.Hour)
	return fleet.Lying{
		DeploymentID: uuid.UUID{9, byte(from.Day())}, PlanID: uuid.UUID{6}, From: from, Until: &until,
		Wear: []planner.PhaseWear{{Name: "gale", Spans: []planner.Span{{From: from, Until: until}}, PerHour: planner.Band{Low: perHour / 2, Mid: perHour, High: 2 * perHour}}},
	}
}

type change = func(*readiness.State, *readiness.Window)

func dropping(kind string) change {
	return func(s *readiness.State, _ *readiness.Window) { drop(s, kind) }
}

func retiring(kind string) change {
	return func(s *readiness.State, _ *readiness.Window) {
		gear(s, kind).Item.RetiredAt = some(on(2026, 2, 2))
	}
}

// asSpare leaves the only one aboard as a spare, which the plan does not know.
func asSpare(kind string) change {
	return func(s *readiness.State, _ *readiness.Window) {
		gear(s, kind).Item.Spare = true
		s.Plan.Outfit = slices.DeleteFunc(s.Plan.Outfit, func(line string) bool { return strings.HasPrefix(line, kind) })
	}
}

// asSpareBeside puts a spare beside the one rigged.
func asSpareBeside(kind string) change {
	return func(s *readiness.State, _ *readiness.Window) {
		g := *gear(s, kind)
		spare := *g.Item
		spare.Spare = true
		g.ID, g.Item = uuid.UUID{8}, &spare
		s.Gear = append(s.Gear, g)
	}
}

func TestSoundVesselIsReady(t *testing.T) {
	t.Parallel()
	s := sound()
	got := readiness.Judge(s, fleet.DefaultPolicy(), as(now), &readiness.Window{From: now, To: now.AddDate(0, 0, 7)})
	if got.Verdict != readiness.Ready || got.Window.Verdict != readiness.Ready || len(got.Findings) > 0 || len(got.Window.Findings) > 0 {
		t.Errorf("got %+v with window %+v, want ready without findings", got, got.Window)
	}
}

// Each rule by itself makes or breaks readiness: what breaks it gives its finding and no other, and what goes as near
// gives none.
func TestTruthTable(t *testing.T) {
	t.Parallel()
	tried := map[string]bool{}
	severity := map[string]readiness.Severity{}
	for _, r := range readiness.Rules() {
		severity[r.Code] = r.Severity
	}
	for _, c := range broken {
		tried[c.code] = true
		verdict, found := judge(c.breaks)
		want := readiness.NotReady
		if severity[c.code] == readiness.Reservation {
			want = readiness.WithReservations
		}
		if len(found) != 1 || found[0].Code != c.code || verdict != want {
			t.Errorf("%s broken: got %s with %+v, want %s for it alone", c.code, verdict, found, want)
			continue
		}
		f := found[0]
		switch {
		case c.since.IsZero() && f.Since != nil, !c.since.IsZero() && (f.Since == nil || !f.Since.Equal(c.since)):
			t.Errorf("%s: since %v, want %v", c.code, f.Since, c.since)
		case !strings.Contains(f.Text, c.says):
			t.Errorf("%s: says %q, want %q in it", c.code, f.Text, c.says)
		case !strings.HasSuffix(f.Text, ".") || !strings.HasSuffix(f.Fix, ".") || strings.Contains(f.Text, ".."):
			t.Errorf("%s: %q and %q are not sentences", c.code, f.Text, f.Fix)
		}
		for _, e := range f.Evidence {
			if e.What == "" || !strings.HasPrefix(e.Href, "/v1/") {
				t.Errorf("%s: evidence %+v", c.code, e)
			}
		}
		for name, changed := range map[string]change{"broken": c.breaks, "kept": c.keep} {
			if brief, report := inBrief(changed); !reflect.DeepEqual(brief, report) {
				t.Errorf("%s %s: in brief %+v, and by its report %+v", c.code, name, brief, report)
			}
		}
		if verdict, found := judge(c.keep); verdict != readiness.Ready || len(found) > 0 {
			t.Errorf("%s kept: got %s with %+v, want ready", c.code, verdict, found)
		}
	}
	for code := range severity {
		if !tried[code] {
			t.Errorf("no case tries %s", code)
		}
	}
}

// inBrief judges a sound vessel after a change, in brief and by the report, without a window.
func inBrief(changed change) (brief, byReport readiness.Brief) {
	s, p := sound(), fleet.DefaultPolicy()
	changed(&s, &readiness.Window{})
	r := readiness.Judge(s, p, as(now), nil)
	byReport = readiness.Brief{ID: r.ID, VesselName: r.VesselName, Verdict: r.Verdict, Codes: []string{}}
	for _, f := range r.Findings {
		if !slices.Contains(byReport.Codes, f.Code) {
			byReport.Codes = append(byReport.Codes, f.Code)
		}
	}
	return readiness.BriefOf(&s, &p, as(now)), byReport
}

// judge judges a sound vessel after a change, with a window of no length, and gives all findings.
func judge(changed change) (readiness.Verdict, []readiness.Finding) {
	s, w := sound(), readiness.Window{From: now.Add(-time.Hour), To: now}
	changed(&s, &w)
	r := readiness.Judge(s, fleet.DefaultPolicy(), as(now), &w)
	return r.Window.Verdict, append(r.Findings, r.Window.Findings...)
}

func TestWindowTellsWhatFallsDue(t *testing.T) {
	t.Parallel()
	s := sound()
	gear(&s, "canopy").Inspection.At = on(2025, 6, 4)
	s.Drill.At = on(2025, 6, 20)
	policy := fleet.DefaultPolicy()
	for _, c := range []struct {
		to   time.Time
		due  []string
		want readiness.Verdict
	}{
		{on(2026, 6, 4).Add(-time.Second), nil, readiness.Ready},
		{on(2026, 6, 4), []string{"inspection_overdue"}, readiness.NotReady},
		{on(2026, 6, 30), []string{"inspection_overdue", "drill_overdue"}, readiness.NotReady},
	} {
		got := readiness.Judge(s, policy, as(now), &readiness.Window{From: now, To: c.to})
		var due []string
		for _, f := range got.Window.Findings {
			due = append(due, f.Code)
			if f.Due == nil || f.Since != nil || f.Due.Before(now) || f.Due.After(c.to) {
				t.Errorf("%s: due %v, since %v; want it due within the window", f.Code, f.Due, f.Since)
			}
		}
		if got.Verdict != readiness.Ready || !slices.Equal(due, c.due) || got.Window.Verdict != c.want {
			t.Errorf("to %v: got %s, window %s with %v due; want ready, %s, %v", c.to, got.Verdict, got.Window.Verdict, due, c.want, c.due)
		}
	}
}

// What is found already stands in the report, counts for the window, and is not told twice.
func TestWindowCountsWhatIsFoundAlready(t *testing.T) {
	t.Parallel()
	s := sound()
	s.Drill = nil
	got := readiness.Judge(s, fleet.DefaultPolicy(), as(now), &readiness.Window{From: now, To: now.AddDate(0, 1, 0)})
	if len(got.Findings) != 1 || len(got.Window.Findings) != 0 || got.Window.Verdict != readiness.WithReservations {
		t.Errorf("got %+v and window %+v, want the drill told once", got.Findings, got.Window)
	}
}

// A year after 29 February is 28 February, and a month after 31 January is the last of February.
func TestDaysTheMonthLacks(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		last   time.Time
		months int
		due    time.Time
	}{
		{on(2024, 2, 29), 12, on(2025, 2, 28)},
		{on(2025, 1, 31), 1, on(2025, 2, 28)},
		{on(2025, 12, 31), 2, on(2026, 2, 28)},
		{on(2025, 3, 15), 24, on(2027, 3, 15)},
		{on(2025, 3, 31).Add(23 * time.Hour).In(time.FixedZone("", 2*3600)), 6, on(2025, 9, 30).Add(23 * time.Hour)}, // 1 April there
	} {
		s, policy := sound(), fleet.DefaultPolicy()
		policy.DrillEveryMonths, s.Drill.At = c.months, c.last
		for at, want := range map[time.Time]bool{c.due.Add(-time.Second): false, c.due: true} {
			found := readiness.Judge(s, policy, as(at), nil).Findings
			if got := slices.ContainsFunc(found, func(f readiness.Finding) bool { return f.Code == "drill_overdue" }); got != want {
				t.Errorf("%d months after %v, at %v: overdue %v, want %v", c.months, c.last, at, got, want)
			}
		}
	}
}

// What is recorded as retired later is a spare until then.
func TestGearRetiredLaterIsAboard(t *testing.T) {
	t.Parallel()
	s, later := sound(), now.AddDate(0, 0, 3)
	canopy := gear(&s, "canopy")
	canopy.Item.Spare, canopy.Item.RetiredAt = true, &later
	for _, f := range readiness.Judge(s, fleet.DefaultPolicy(), as(now), nil).Findings {
		if f.Code == "gear_missing_canopy" && strings.Contains(f.Text, "retired") {
			t.Errorf("three days before it is retired: %s", f.Text)
		}
	}
}

// What a part bears at the high end grows from its own demand, which is its share of the rode's load.
func TestUseAtTheHighEndIsOfThePartsShare(t *testing.T) {
	t.Parallel()
	peaks := func(mid, high float64) planner.Phase {
		return planner.Phase{Loads: planner.Loads{PeakN: planner.Band{Mid: mid, High: high}}}
	}
	p := planner.Plan{Phases: []planner.Phase{peaks(10_000, 12_000), peaks(8_000, 15_000)}}
	for _, c := range []struct {
		part string
		planner.Part
		want float64
	}{
		{"the rode, in line", planner.Part{CapacityN: 12_000, DemandN: 10_000, Governing: true}, 1.25},
		{"a leg that bears six tenths", planner.Part{CapacityN: 10_000, DemandN: 6_000, Governing: true}, 0.9},
		{"a leg that bears more than the rode", planner.Part{CapacityN: 16_000, DemandN: 12_000, Governing: true}, 1.125},
		{"of a capacity not told", planner.Part{DemandN: 10_000, Governing: true}, 0},
	} {
		p.Hardware = []planner.Part{{Part: "another", CapacityN: 1e5, DemandN: 10_000}, c.Part}
		if got := readiness.PlanOf(p, planner.Request{}).UseHigh; math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%s: got %g of its capacity, want %g", c.part, got, c.want)
		}
	}
}

// The end of an engine's support depends on the instant, not on the release that is asked.
func TestEngineIsSupportedToItsEnd(t *testing.T) {
	t.Parallel()
	end := on(2026, 1, 1)
	for at, want := range map[time.Time]int{end.Add(-time.Second): 0, end: 1} {
		s := sound()
		s.Plan.Engine, s.Plan.MadeAt = "rideout-1", on(2025, 12, 1)
		old := 0
		for _, f := range readiness.Judge(s, fleet.DefaultPolicy(), as(at), nil).Findings {
			if f.Code == "plan_old_engine" {
				old++
			}
		}
		if old != want {
			t.Errorf("at %v: got %d findings on the engine, want %d", at, old, want)
		}
	}
}

func TestPageOfRulesIsUpToDate(t *testing.T) {
	t.Parallel()
	if *update {
		if err := os.WriteFile("RULES.md", []byte(readiness.Page()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile("RULES.md")
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != readiness.Page() {
		t.Error("RULES.md is not what the table says; run with -update")
	}
}
