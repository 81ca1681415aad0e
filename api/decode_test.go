package api_test

import (
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"rideout/api"
	"rideout/service/physics/canopy"
	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
	"rideout/service/physics/wind"
	"rideout/service/planner"
)

func kt(v float64) *float64 { ms := v * 1852 / 3600; return &ms }

func deg(v float64) *quantity.Angle { a := quantity.Angle(v * math.Pi / 180); return &a }

func of(v float64) *float64 { return &v }

func TestExampleBodyReachesTheDomainFieldByField(t *testing.T) {
	t.Parallel()
	got, err := api.DecodePlan([]byte(exampleBody(t)))
	if err != nil {
		t.Fatal(err)
	}
	at := func(day, hour int) time.Time { return time.Date(2026, 1, day, hour, 0, 0, 0, time.UTC) }
	want := planner.Request{
		Vessel: planner.Vessel{
			Name: "Kestrel of Hamna", Hull: hull.PowerDisplacement, LOAM: 12.2, LWLM: 11.2, BeamM: 4, DraughtM: 1.3, DisplacementKg: 14000,
			Windage: []wind.Part{
				{Name: "topsides", FrontalAreaM2: 7, LateralAreaM2: 17, CentreHeightM: 0.8, CentreFromBowM: 5.8, ShapeCoefficient: 1},
				{Name: "superstructure", FrontalAreaM2: 9, LateralAreaM2: 22, CentreHeightM: 2.4, CentreFromBowM: 5.5, ShapeCoefficient: 1},
			},
			StrongPoints: []planner.StrongPoint{
				{Name: "bow bitt", FromBowM: 0.3, WorkingLoadN: 40000},
				{Name: "port midship cleat", FromBowM: 5.6, OffCentreM: -1.9, WorkingLoadN: 22000},
			},
		},
		Gear: &planner.Gear{
			Canopy:   &planner.Canopy{Shape: canopy.FlatCircular, DiameterM: 5.5},
			Rode:     &planner.Rode{Construction: rode.ThreeStrand, DiameterMM: 22, LengthM: 183, Terminations: []rode.Termination{rode.ThimbledSplice, rode.Bowline}},
			Shackles: []planner.Shackle{{BodyMM: 16}}, TripLine: &planner.TripLine{LengthM: 30}, Float: &planner.Float{BuoyancyN: 300},
		},
		Position: &planner.Position{LatitudeDeg: 61.2, LongitudeDeg: -6.4},
		Intent:   planner.RideOutStorm,
		Wish:     planner.Wish{HeadingOffWind: deg(30), DriftAtMostMS: kt(1.5)},
		Hazards:  []byte(`{"features":[],"type":"FeatureCollection"}`),
		Forecast: planner.Forecast{IssuedAt: at(12, 12), Source: "example", Steps: []planner.Step{
			{Time: at(12, 18), WindMS: *kt(45), GustMS: kt(58), WindFrom: deg(240), HsM: of(6), TpS: of(10), WaveFrom: deg(245), CurrentMS: kt(0.6), CurrentToward: deg(30)},
			{Time: at(13, 0), WindMS: *kt(40), GustMS: kt(51), WindFrom: deg(265), HsM: of(5.6), TpS: of(10.5), WaveFrom: deg(250), CurrentMS: kt(0.5), CurrentToward: deg(210)},
			{Time: at(13, 6), WindMS: *kt(32), WindFrom: deg(285), HsM: of(4.4), TpS: of(10), WaveFrom: deg(265)},
			{Time: at(13, 12), WindMS: *kt(22), WindFrom: deg(300)},
		}},
	}
	equalRequests(t, got, want)
}

// equalRequests compares field by field, floats to the last few bits: a knot is 1852/3600 m/s
// whichever way it is multiplied out.
func equalRequests(t *testing.T, got, want planner.Request) {
	t.Helper()
	compare(t, "request", reflect.ValueOf(got), reflect.ValueOf(want))
}

func compare(t *testing.T, at string, got, want reflect.Value) {
	t.Helper()
	switch {
	case want.Type() == reflect.TypeFor[time.Time]():
		if g, w := got.Interface().(time.Time), want.Interface().(time.Time); !g.Equal(w) || g.Location() != w.Location() {
			t.Errorf("%s = %v, want %v", at, g, w)
		}
	case want.Kind() == reflect.Float64:
		if g, w := got.Float(), want.Float(); math.Abs(g-w) > 4e-16*math.Abs(w) {
			t.Errorf("%s = %v, want %v", at, g, w)
		}
	case want.Kind() == reflect.Struct:
		for i := range want.NumField() {
			compare(t, at+"."+want.Type().Field(i).Name, got.Field(i), want.Field(i))
		}
	case want.Kind() == reflect.Pointer && !want.IsNil() && !got.IsNil():
		compare(t, at, got.Elem(), want.Elem())
	case want.Kind() == reflect.Slice && got.Len() == want.Len():
		for i := range want.Len() {
			compare(t, at+"[]", got.Index(i), want.Index(i))
		}
	default:
		if g, w := got.Interface(), want.Interface(); !reflect.DeepEqual(g, w) {
			t.Errorf("%s = %v, want %v", at, g, w)
		}
	}
}

func TestOptionalFieldsReachTheDomain(t *testing.T) {
	t.Parallel()
	body := `{
	  "vessel": {"name": "Swallow", "hull": "sail_monohull", "loa_m": 10, "beam_m": 3.2, "draught_m": 1.8, "freeboard_m": 1.1, "displacement_kg": 5500, "design_category": "A",
	    "windage": [{"part": "mast", "frontal_area_m2": 2, "lateral_area_m2": 2.5, "centre_height_m": 6, "centre_from_bow_m": 4}],
	    "strong_points": [{"name": "stem", "from_bow_m": 0, "off_centre_m": 0}]},
	  "gear": {"canopy": {"shape": "cross", "diameter_m": 4}, "swivels": [{"working_load_n": 31000}], "chain": {"size_mm": 10, "grade": 43, "length_m": 5},
	    "shackles": [{"body_mm": 13, "working_load_n": 19000}],
	    "rode": {"construction": "double_braid", "diameter_mm": 18, "length_m": 100, "breaking_load_n": 80000, "age_years": 2,
	      "data_sheet": [{"stretch": 0.05, "load_n": 8000}, {"stretch": 0.1, "load_n": 16000}]}},
	  "intent": "drill",
	  "assume": {"canopy_cd0": 0.8, "canopy_inertia_kg": 9000, "canopy_depth_m": 7, "dynamic_stiffness": 0, "static_a": 1, "relaxation_s": 60,
	    "rode_breaking_load_n": 40000, "hull_added_mass_share": 0.1, "hull_drag_area_m2": 1.5, "wave_drift_share": 0, "wind_force_n": 2000, "seeds": 4},
	  "rode_lengths_m": [60, 90],
	  "forecast": {"steps": [{"time": "2026-01-12T19:00:00+01:00", "wind_speed_kt": 30, "significant_wave_height_m": 3, "peak_period_s": 8,
	    "swell_height_m": 2, "swell_peak_period_s": 14, "water_depth_m": 200}]}}`
	got, err := api.DecodePlan([]byte(body))
	if err != nil {
		t.Fatal(err)
	}
	seeds := 4
	want := planner.Request{
		Vessel: planner.Vessel{
			Name: "Swallow", Hull: hull.SailMonohull, LOAM: 10, BeamM: 3.2, DraughtM: 1.8, FreeboardM: 1.1, DisplacementKg: 5500, DesignCategory: "A",
			Windage:      []wind.Part{{Name: "mast", FrontalAreaM2: 2, LateralAreaM2: 2.5, CentreHeightM: 6, CentreFromBowM: 4, ShapeCoefficient: 1}},
			StrongPoints: []planner.StrongPoint{{Name: "stem"}},
		},
		Gear: &planner.Gear{
			Canopy: &planner.Canopy{Shape: canopy.Cross, DiameterM: 4}, Swivels: []planner.Swivel{{WorkingLoadN: 31000}}, Chain: &planner.Chain{SizeMM: 10, Grade: 43, LengthM: 5},
			Shackles: []planner.Shackle{{BodyMM: 13, WorkingLoadN: 19000}},
			Rode: &planner.Rode{
				Construction: rode.DoubleBraid, DiameterMM: 18, LengthM: 100, BreakingN: 80000, AgeYears: 2,
				DataSheet: []rode.Point{{Stretch: 0.05, LoadN: 8000}, {Stretch: 0.1, LoadN: 16000}},
			},
		},
		Intent: planner.Drill,
		Assume: planner.Assume{
			CanopyCd0: of(0.8), CanopyInertiaKg: of(9000), CanopyDepthM: of(7), DynamicStiffness: of(0), StaticA: of(1), RelaxationS: of(60), RodeBreakingLoadN: of(40000),
			HullAddedMassShare: of(0.1), HullDragAreaM2: of(1.5), WaveDriftShare: of(0), WindForceN: of(2000), Seeds: &seeds,
		},
		RodeTried: []float64{60, 90},
		Forecast: planner.Forecast{Steps: []planner.Step{
			{Time: time.Date(2026, 1, 12, 18, 0, 0, 0, time.UTC), WindMS: *kt(30), HsM: of(3), TpS: of(8), SwellHsM: of(2), SwellTpS: of(14), DepthM: of(200)},
		}},
	}
	equalRequests(t, got, want)
}

const coverage = `{"type": "Coverage", "domain": {"type": "Domain", "domainType": "PointSeries",
  "axes": {"x": {"values": [-6.4]}, "y": {"values": [61.2]}, "t": {"values": ["2026-01-12T18:00:00Z", "2026-01-13T00:00:00Z"]}},
  "referencing": [{"coordinates": ["x", "y"], "system": {"type": "GeographicCRS", "id": "http://www.opengis.net/def/crs/OGC/1.3/CRS84"}},
    {"coordinates": ["t"], "system": {"type": "TemporalRS", "calendar": "Gregorian"}}]},
  "parameters": {"wind": {"type": "Parameter", "observedProperty": {"id": "http://vocab.nerc.ac.uk/standard_name/wind_speed/", "label": {"en": "wind speed"}},
    "unit": {"symbol": {"value": "m/s", "type": "http://www.opengis.net/def/uom/UCUM/"}}}},
  "ranges": {"wind": {"type": "NdArray", "dataType": "float", "axisNames": ["t"], "shape": [2], "values": [20, 15]}}}`

// withForecast gives the example body with another forecast and without a position.
func withForecast(t *testing.T, forecast string) string {
	t.Helper()
	body := exampleBody(t)
	begin := strings.Index(body, `"forecast":`)
	body = body[:begin] + `"forecast": ` + forecast + "}"
	return strings.Replace(body, `"position": {"latitude_deg": 61.2, "longitude_deg": -6.4},`, "", 1)
}

func TestCoverageIsTakenAsForecast(t *testing.T) {
	t.Parallel()
	got, err := api.DecodePlan([]byte(withForecast(t, coverage)))
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Forecast.Steps) != 2 || got.Forecast.Steps[0].WindMS != 20 || got.Forecast.Steps[1].WindMS != 15 {
		t.Errorf("steps %+v, want winds of 20 and 15 m/s", got.Forecast.Steps)
	}
	if want := (planner.Position{LatitudeDeg: 61.2, LongitudeDeg: -6.4}); got.Position == nil || *got.Position != want {
		t.Errorf("position %v, want the coverage's %v", got.Position, want)
	}
}

// What the contract allows at the ends of a range is accepted; turning units must not push a value
// over the edge.
func TestEndsOfRangesAreAccepted(t *testing.T) {
	t.Parallel()
	for _, s := range []swap{
		{`"wind_speed_kt": 45, "gust_kt": 58`, `"wind_speed_kt": 120, "gust_kt": 240`},
		{`"wind_speed_kt": 22`, `"wind_speed_kt": 0`},
		{`"wind_from_deg": 240`, `"wind_from_deg": 360`},
		{`"wave_from_deg": 245`, `"wave_from_deg": 0`},
		{`"current_kt": 0.6`, `"current_kt": 20`},
		{`"heading_off_wind_deg": 30`, `"heading_off_wind_deg": 90`},
		{`"drift_at_most_kt": 1.5`, `"drift_at_most_kt": 0.2`},
		{`"drift_at_most_kt": 1.5`, `"drift_at_most_kt": 10`},
		{`61.2`, `-90`},
		{`-6.4`, `180`},
		{`"significant_wave_height_m": 6.0`, `"significant_wave_height_m": 25`},
		{`"diameter_m": 5.5`, `"diameter_m": 30`},
		{`"diameter_mm": 22`, `"diameter_mm": 50.8`},
		{`"diameter_mm": 22`, `"diameter_mm": 6.35`},
		{`"lwl_m": 11.2`, `"lwl_m": 12.2`},
	} {
		body := exampleBody(t)
		if !strings.Contains(body, s.old) {
			t.Fatalf("the example does not hold %q", s.old)
		}
		if _, err := api.DecodePlan([]byte(strings.Replace(body, s.old, s.new, 1))); err != nil {
			t.Errorf("%s: %+v, want it accepted", s.new, err)
		}
	}
}
