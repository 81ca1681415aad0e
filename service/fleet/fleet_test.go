package fleet_test

import (
	"encoding/json"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
	"rideout/service/planner"
)

var now = time.Date(2026, 1, 12, 12, 0, 0, 0, time.UTC)

// Source: 9074729 is the worked example of the scheme, as commonly printed (from memory); the others are 9074729 with one slip.
func TestIMONumbers(t *testing.T) {
	t.Parallel()
	for number, ok := range map[string]bool{
		"9074729": true, "9074728": false, "9074792": false, "9047729": false, "0974729": false, "907472": false, "90747290": false, "907472x": false, "": false,
	} {
		if err := fleet.CheckIMO(number); (err == nil) != ok {
			t.Errorf("%q: got %v, want taken: %v", number, err, ok)
		}
	}
}

// The forms are those of ITU-R M.585, from memory.
func TestMMSIForms(t *testing.T) {
	t.Parallel()
	for number, ok := range map[string]bool{
		"231000000": true, "201000000": true, "775999999": true, "982310000": true,
		"023100000": false, // a group
		"002310000": false, // a coast station
		"111231000": false, // an aircraft
		"992310000": false, // an aid to navigation
		"970123456": false, // a beacon
		"974123456": false, "200999999": false, "776000000": false, "989000000": false, "23100000": false, "2310000000": false, "23100000a": false,
	} {
		if err := fleet.CheckMMSI(number); (err == nil) != ok {
			t.Errorf("%q: got %v, want taken: %v", number, err, ok)
		}
	}
}

// Each kind: a body that is taken, and changes to it that are refused, with the pointers named.
func TestChecks(t *testing.T) {
	t.Parallel()
	vessel := `{"name": "Tern of Hamna", "hull": "workboat", "loa_m": 12, "beam_m": 4, "draught_m": 1, "displacement_kg": 9000, "imo": "9074729", "mmsi": "231000000", "call_sign": "OZ2AB"}`
	rode := `{"kind": "rode", "rode": {"construction": "three_strand", "diameter_mm": 22, "length_m": 183}, "made_on": "2024-02-29", "first_used_on": "2024-03-01"}`
	seen := `{"observed_at": "2026-01-12T10:00:00Z", "from_fix": {"time": "2026-01-12T09:00:00Z", "latitude_deg": 61, "longitude_deg": -6}, "to_fix": {"time": "2026-01-12T10:00:00Z", "latitude_deg": 61.01, "longitude_deg": -6}}`
	back := `{"begun_at": "2026-01-12T10:00:00Z", "ended_at": "2026-01-12T11:00:00Z", "method": "trip_line", "trip_line_used": true}`
	note := `{"occurred_at": "2026-01-12T10:00:00Z", "kind": "rode_chafed", "severity": "near_miss", "what_happened": "It chafed."}`
	for _, c := range []struct {
		kind        fleet.Kind
		body, patch string
		pointers    []string
	}{
		{fleet.KindVessel, vessel, `{}`, nil},
		{fleet.KindVessel, vessel, `{"imo": "9074728", "mmsi": "970123456", "call_sign": "oz", "displacement_kg": 900000}`, []string{"/call_sign", "/displacement_kg", "/imo", "/mmsi"}},
		{fleet.KindVessel, vessel, `{"strong_points": [{"name": "bitt", "from_bow_m": 13, "off_centre_m": 0}]}`, []string{"/strong_points/0/from_bow_m"}},
		{fleet.KindGear, rode, `{}`, nil},
		{fleet.KindGear, rode, `{"kind": "canopy"}`, []string{"/canopy", "/rode"}},
		{fleet.KindGear, rode, `{"rode": {"diameter_mm": 3}}`, []string{"/rode/diameter_mm"}},
		{fleet.KindGear, rode, `{"kind": "shackle", "rode": null, "shackle": {"body_mm": 90}}`, []string{"/shackle/body_mm"}},
		{fleet.KindGear, rode, `{"first_used_on": "2024-02-28"}`, []string{"/first_used_on"}},
		{fleet.KindGear, rode, `{"made_on": "2023-02-29"}`, []string{"/made_on"}},
		{fleet.KindGear, rode, `{"made_on": null, "first_used_on": "2026-01-14"}`, []string{"/first_used_on"}},
		{fleet.KindGear, rode, `{"retired_at": "2026-01-01T00:00:00Z"}`, []string{"/retired_why"}},
		{fleet.KindGear, rode, `{"retired_why": "worn"}`, []string{"/retired_at"}},
		{fleet.KindGear, rode, `{"retired_at": "2027-01-01T00:00:00Z", "retired_why": "worn"}`, []string{"/retired_at"}},
		{fleet.KindInspection, `{"inspected_at": "2026-01-12T12:05:00Z", "inspector": "mate", "verdict": "fit"}`, `{}`, nil},
		{fleet.KindInspection, `{"inspected_at": "2026-01-12T12:15:00Z", "inspector": "mate", "verdict": "fit"}`, `{}`, []string{"/inspected_at"}},
		{fleet.KindDrill, `{"held_at": "1066-10-14T09:00:00Z", "kind": "full", "crew_count": 4}`, `{}`, []string{"/held_at"}},
		{fleet.KindPolicy, `{}`, `{}`, nil},
		{fleet.KindPolicy, `{}`, `{"retrieve_below_kt": 40}`, []string{"/retrieve_below_kt"}},
		{fleet.KindPolicy, `{}`, `{"deploy_above_kt": 50}`, []string{"/deploy_above_kt"}},
		{fleet.KindPolicy, `{}`, `{"rope_factor": 0.5}`, []string{""}},
		{fleet.KindDeployment, `{"deployed_at": "2026-01-12T10:00:00Z"}`, `{}`, nil},
		{fleet.KindDeployment, `{"deployed_at": "2026-02-12T10:00:00Z"}`, `{}`, []string{"/deployed_at"}},
		{fleet.KindObservation, seen, `{}`, nil},
		{fleet.KindObservation, seen, `{"to_fix": null}`, []string{"/to_fix"}},
		{fleet.KindObservation, seen, `{"from_fix": null}`, []string{"/from_fix"}},
		{fleet.KindObservation, seen, `{"from_fix": null, "to_fix": null}`, []string{""}},
		{fleet.KindObservation, seen, `{"to_fix": {"time": "2026-01-12T09:00:00Z"}}`, []string{"/to_fix/time"}},
		{fleet.KindObservation, seen, `{"to_fix": {"latitude_deg": 62}}`, []string{"/to_fix"}},
		{fleet.KindRetrieval, back, `{}`, nil},
		{fleet.KindRetrieval, back, `{"ended_at": "2026-01-12T09:00:00Z"}`, []string{"/ended_at"}},
		{fleet.KindRetrieval, back, `{"trip_line_used": false}`, []string{"/trip_line_used"}},
		{fleet.KindIncident, note, `{}`, nil},
		{fleet.KindIncident, note, `{"injured": 1}`, []string{"/severity"}},
		{fleet.KindIncident, note, `{"dead": 1}`, []string{"/severity"}},
		{fleet.KindIncident, note, `{"kind": "injury"}`, []string{"/injured"}},
	} {
		var got []string
		for _, p := range entity(t, c.kind, c.body, c.patch).Check(now) {
			got = append(got, p.Pointer)
			if p.Message == "" || p.Fix == "" {
				t.Errorf("%s %s: %+v has no message or no fix", c.kind, c.patch, p)
			}
		}
		slices.Sort(got)
		if !slices.Equal(got, c.pointers) {
			t.Errorf("%s %s with %s: got %q, want %q", c.kind, c.body, c.patch, got, c.pointers)
		}
	}
}

// entity reads a body that a patch was applied to.
func entity(t *testing.T, kind fleet.Kind, body, patch string) fleet.Entity {
	t.Helper()
	text, err := json.Marshal(fleet.MergePatch(tree(t, body), tree(t, patch)))
	if err != nil {
		t.Fatal(err)
	}
	e := fleet.Describe(kind).New()
	if err := json.Unmarshal(text, e); err != nil {
		t.Fatal(err)
	}
	e.Settle()
	return e
}

// A minute of latitude is 1,852.2 m at 45 degrees, and made in an hour it is a knot.
// Source: Bowditch, The American Practical Navigator, table of the length of a degree, from memory.
func TestDriftBetweenFixes(t *testing.T) {
	t.Parallel()
	fix := func(hour int, latitude, longitude float64) *fleet.Fix {
		return &fleet.Fix{Time: now.Add(time.Duration(hour) * time.Hour), LatitudeDeg: latitude, LongitudeDeg: longitude}
	}
	const minute = 1.0 / 60
	for _, c := range []struct {
		from, to                 *fleet.Fix
		speedKt, toward, metres  float64
		speedTol, degTol, distTo float64
	}{
		{fix(0, 45-minute/2, 0), fix(1, 45+minute/2, 0), 1, 0, 1852.2, 0.005, 0.05, 1},
		{fix(0, 45+minute/2, 0), fix(2, 45-minute/2, 0), 0.5, 180, 1852.2, 0.005, 0.05, 1},
		{fix(0, 0, 179.99), fix(1, 0, -179.99), 1.2, 90, 2226.4, 0.005, 0.05, 1}, // over the date line; 111,319.5 m a degree of the equator
	} {
		o := fleet.Observation{FromFix: c.from, ToFix: c.to}
		o.Settle()
		d := o.Drift
		if d == nil || math.Abs(d.SpeedKt-c.speedKt) > c.speedTol || math.Abs(d.TowardDeg-c.toward) > c.degTol || math.Abs(d.DistanceM-c.metres) > c.distTo {
			t.Errorf("%+v to %+v: got %+v, want %g kt toward %g deg, %g m", *c.from, *c.to, d, c.speedKt, c.toward, c.metres)
		}
	}
	o := fleet.Observation{FromFix: fix(1, 45, 0), ToFix: fix(0, 45, 1), Drift: &fleet.Drift{SpeedKt: 3}}
	if o.Settle(); o.Drift != nil {
		t.Errorf("back in time: got %+v, want none", o.Drift)
	}
}

func TestDefaultPolicyIsThePlanners(t *testing.T) {
	t.Parallel()
	p := fleet.DefaultPolicy()
	if p.Planned() != planner.DefaultPolicy() {
		t.Errorf("got %+v, want %+v", p.Planned(), planner.DefaultPolicy())
	}
	if problems := p.Check(now); len(problems) > 0 {
		t.Errorf("the default is refused: %+v", problems)
	}
}

func TestSetOfWhatIsFitted(t *testing.T) {
	t.Parallel()
	const rope = `"rode": {"construction": "three_strand", "diameter_mm": 22, "length_m": 183}`
	item := func(body string) fleet.GearItem { return *entity(t, fleet.KindGear, body, `{}`).(*fleet.GearItem) }
	rode := item(`{"kind": "rode", "first_used_on": "2024-01-12", "made_on": "2020-01-01", ` + rope + `}`)
	spare := item(`{"kind": "rode", "spare": true, ` + rope + `}`)
	retired := item(`{"kind": "canopy", "canopy": {"shape": "conical", "diameter_m": 3}, "retired_at": "2026-01-01T00:00:00Z", "retired_why": "torn"}`)
	canopy := item(`{"kind": "canopy", "canopy": {"shape": "flat_circular", "diameter_m": 5.5}}`)
	shackle := item(`{"kind": "shackle", "shackle": {"body_mm": 16}}`)
	chafe, knife := item(`{"kind": "chafe_gear"}`), item(`{"kind": "knife"}`)
	items := []fleet.GearItem{rode, spare, retired, canopy, shackle, shackle, chafe, knife}
	ids := make([]uuid.UUID, len(items))
	for i := range ids {
		ids[i] = uuid.UUID{byte(i)}
	}
	set, problems := fleet.SetOf(items, ids, map[uuid.UUID]float64{ids[0]: 0.05, ids[1]: 0.4}, now)
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	if set.Canopy == nil || set.Canopy.DiameterM != 5.5 || len(set.Shackles) != 2 || !set.ChafeGear || set.Chain != nil {
		t.Errorf("got %+v, want the canopy of 5.5 m, two shackles and chafe gear", set)
	}
	// 2024 is a leap year: 731 days.
	if age := *set.Rode.AgeYears; math.Abs(age-731/365.25) > 1e-12 || *set.Rode.ChafedShare != 0.05 {
		t.Errorf("rode: got age %g, chafed %g, want %g from its first use and 0.05 as measured", age, *set.Rode.ChafedShare, 731/365.25)
	}
	for figure, want := range map[string]float64{"0": 0.05, "0.02": 0.05, "0.3": 0.3} { // the greater counts
		told := item(`{"kind": "rode", "rode": {"construction": "three_strand", "diameter_mm": 22, "length_m": 183, "chafed_share": ` + figure + `}}`)
		set, _ := fleet.SetOf([]fleet.GearItem{told}, ids[:1], map[uuid.UUID]float64{ids[0]: 0.05}, now)
		if got := *set.Rode.ChafedShare; got != want {
			t.Errorf("figure %s, measured 0.05: got %g, want %g", figure, got, want)
		}
	}
	if items[0].Rode.AgeYears != nil {
		t.Error("the item itself was changed")
	}
	before, _ := fleet.SetOf([]fleet.GearItem{retired}, ids[:1], nil, now.AddDate(0, -1, 0))
	if before.Canopy == nil {
		t.Error("before it was retired the canopy is in use: got none")
	}
	if _, problems := fleet.SetOf([]fleet.GearItem{rode, rode}, ids[:2], nil, now); len(problems) != 1 || problems[0].Pointer != "/gear/rode" {
		t.Errorf("two rodes: got %+v, want that they are told", problems)
	}
}
