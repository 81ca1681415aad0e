package api_test

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// swap is a text of the example body and what stands in its place.
type swap struct{ old, new string }

// badBodies are bodies made wrong, and the pointers that must be named. Each is posted as a plan.
var badBodies = []struct {
	name     string
	swaps    []swap
	body     string // instead of the example
	pointers []string
}{
	// the JSON itself
	{name: "empty", body: " ", pointers: []string{""}},
	{name: "no JSON", body: "wind 45", pointers: []string{""}},
	{name: "an array", body: "[]", pointers: []string{""}},
	{name: "a number", body: "12", pointers: []string{""}},
	{name: "null", body: "null", pointers: []string{""}},
	{name: "cut short", body: `{"vessel": {"name": "K`, pointers: []string{"/vessel/name"}},
	{name: "cut after a member", body: `{"vessel": {"name": "K"`, pointers: []string{"/vessel"}},
	{name: "a second value", body: `{} {}`, pointers: []string{""}},
	{name: "text after the value", body: `{}x`, pointers: []string{""}},
	{name: "a comma too many", body: `{"intent": "drill",}`, pointers: []string{""}},
	{name: "a comment", body: `{/* storm */}`, pointers: []string{""}},
	{name: "single quotes", body: `{'intent': 'drill'}`, pointers: []string{""}},
	{name: "NaN", swaps: []swap{{`"loa_m": 12.2`, `"loa_m": NaN`}}, pointers: []string{"/vessel/loa_m"}},
	{name: "Infinity", swaps: []swap{{`"loa_m": 12.2`, `"loa_m": Infinity`}}, pointers: []string{"/vessel/loa_m"}},
	{name: "minus Infinity", swaps: []swap{{`"loa_m": 12.2`, `"loa_m": -Infinity`}}, pointers: []string{"/vessel/loa_m"}},
	{name: "1e400", swaps: []swap{{`"wind_speed_kt": 45`, `"wind_speed_kt": 1e400`}}, pointers: []string{"/forecast/steps/0/wind_speed_kt"}},
	{name: "a leading zero", swaps: []swap{{`"loa_m": 12.2`, `"loa_m": 012.2`}}, pointers: []string{"/vessel"}},
	{name: "a plus sign", swaps: []swap{{`"loa_m": 12.2`, `"loa_m": +12.2`}}, pointers: []string{"/vessel/loa_m"}},
	{name: "too deep", body: strings.Repeat(`{"a":`, 40) + "1" + strings.Repeat("}", 40), pointers: []string{strings.Repeat("/a", 32)}},
	{name: "arrays too deep", body: strings.Repeat("[", 1000) + strings.Repeat("]", 1000), pointers: []string{strings.Repeat("/0", 32)}},
	{name: "no UTF-8", swaps: []swap{{"Kestrel", "Kestr\xffl"}}, pointers: []string{""}},
	{name: "a NUL", swaps: []swap{{"Kestrel", `Kestr\u0000l`}}, pointers: []string{"/vessel/name"}},
	{name: "a member twice", swaps: []swap{{`"loa_m": 12.2,`, `"loa_m": 12.2, "loa_m": 14,`}}, pointers: []string{"/vessel/loa_m"}},
	{name: "the vessel twice", swaps: []swap{{`"intent"`, `"vessel": {}, "intent"`}}, pointers: []string{"/vessel"}},

	// fields that are unknown, missing or of another type
	{name: "nothing in it", body: `{}`, pointers: []string{"/forecast", "/intent", "/vessel"}},
	{name: "no vessel", swaps: []swap{{`"vessel":`, `"boat":`}}, pointers: []string{"/boat", "/vessel"}},
	{name: "an unknown field", swaps: []swap{{`"intent"`, `"speed_kt": 3, "intent"`}}, pointers: []string{"/speed_kt"}},
	{name: "an unknown field of a step", swaps: []swap{{`"gust_kt": 58`, `"gusts_kt": 58`}}, pointers: []string{"/forecast/steps/0/gusts_kt"}},
	{name: "another case of letters", swaps: []swap{{`"loa_m"`, `"LOA_m"`}}, pointers: []string{"/vessel/LOA_m", "/vessel/loa_m"}},
	{name: "a name to be escaped", swaps: []swap{{`"intent"`, `"a/b~c": 3, "intent"`}}, pointers: []string{"/a~1b~0c"}},
	{name: "no name", swaps: []swap{{`"name": "Kestrel of Hamna", `, ``}}, pointers: []string{"/vessel/name"}},
	{name: "an empty name", swaps: []swap{{`Kestrel of Hamna`, ``}}, pointers: []string{"/vessel/name"}},
	{name: "a name of spaces", swaps: []swap{{`Kestrel of Hamna`, `   `}}, pointers: []string{"/vessel/name"}},
	{name: "a name of two lines", swaps: []swap{{`Kestrel of Hamna`, `Kestrel\nof Hamna`}}, pointers: []string{"/vessel/name"}},
	{name: "a name too long", swaps: []swap{{`Kestrel of Hamna`, strings.Repeat("k", 121)}}, pointers: []string{"/vessel/name"}},
	{name: "a number as text", swaps: []swap{{`"loa_m": 12.2`, `"loa_m": "12.2"`}}, pointers: []string{"/vessel/loa_m"}},
	{name: "null for a number", swaps: []swap{{`"gust_kt": 58`, `"gust_kt": null`}}, pointers: []string{"/forecast/steps/0/gust_kt"}},
	{name: "true for a number", swaps: []swap{{`"beam_m": 4.0`, `"beam_m": true`}}, pointers: []string{"/vessel/beam_m"}},
	{name: "a position as text", swaps: []swap{{`"position": {"latitude_deg": 61.2, "longitude_deg": -6.4}`, `"position": "61.2 -6.4"`}}, pointers: []string{"/position"}},
	{name: "steps as an object", body: `{"vessel": {"name": "K", "hull": "workboat", "loa_m": 12, "beam_m": 4, "draught_m": 1, "displacement_kg": 9000}, "intent": "drill", "forecast": {"steps": {}}}`, pointers: []string{"/forecast/steps"}},
	{name: "forecast as a list", body: `{"vessel": {"name": "K", "hull": "workboat", "loa_m": 12, "beam_m": 4, "draught_m": 1, "displacement_kg": 9000}, "intent": "drill", "forecast": []}`, pointers: []string{"/forecast"}},
	{name: "half a position", swaps: []swap{{`, "longitude_deg": -6.4`, ``}}, pointers: []string{"/position/longitude_deg"}},
	{name: "a canopy without size", swaps: []swap{{`"shape": "flat_circular", "diameter_m": 5.5`, `"shape": "flat_circular"`}}, pointers: []string{"/gear/canopy/diameter_m"}},
	{name: "seeds in halves", swaps: []swap{{`"intent"`, `"assume": {"seeds": 2.5}, "intent"`}}, pointers: []string{"/assume/seeds"}},

	{name: "seeds beyond an int", swaps: []swap{{`"intent"`, `"assume": {"seeds": 1e30}, "intent"`}}, pointers: []string{"/assume/seeds"}},
	{name: "a grade in halves", swaps: []swap{{`"shackles"`, `"chain": {"size_mm": 10, "grade": 30.5, "length_m": 5}, "shackles"`}}, pointers: []string{"/gear/chain/grade"}},

	// values out of range
	{name: "an unknown hull", swaps: []swap{{"power_displacement", "submarine"}}, pointers: []string{"/vessel/hull"}},
	{name: "an unknown intent", swaps: []swap{{"ride_out_storm", "race"}}, pointers: []string{"/intent"}},
	{name: "an unknown shape", swaps: []swap{{"flat_circular", "square"}}, pointers: []string{"/gear/canopy/shape"}},
	{name: "an unknown construction", swaps: []swap{{"three_strand", "wire"}}, pointers: []string{"/gear/rode/construction"}},
	{name: "an unknown termination", swaps: []swap{{`"bowline"`, `"granny"`}}, pointers: []string{"/gear/rode/terminations/1"}},
	{name: "an unknown grade", swaps: []swap{{`"shackles"`, `"chain": {"size_mm": 10, "grade": 44, "length_m": 5}, "shackles"`}}, pointers: []string{"/gear/chain/grade"}},
	{name: "latitude 91", swaps: []swap{{"61.2", "91"}}, pointers: []string{"/position/latitude_deg"}},
	{name: "longitude -181", swaps: []swap{{"-6.4", "-181"}}, pointers: []string{"/position/longitude_deg"}},
	{name: "a canopy of 0 m", swaps: []swap{{`"diameter_m": 5.5`, `"diameter_m": 0`}}, pointers: []string{"/gear/canopy/diameter_m"}},
	{name: "a canopy of 31 m", swaps: []swap{{`"diameter_m": 5.5`, `"diameter_m": 31`}}, pointers: []string{"/gear/canopy/diameter_m"}},
	{name: "a hull of 0 m", swaps: []swap{{`"loa_m": 12.2`, `"loa_m": 0`}}, pointers: []string{"/vessel/loa_m"}},
	{name: "a negative draught", swaps: []swap{{`"draught_m": 1.3`, `"draught_m": -1.3`}}, pointers: []string{"/vessel/draught_m"}},
	{name: "no mass", swaps: []swap{{"14000", "0"}}, pointers: []string{"/vessel/displacement_kg"}},
	{name: "a hurricane beyond the model", swaps: []swap{{`"wind_speed_kt": 45`, `"wind_speed_kt": 121`}}, pointers: []string{"/forecast/steps/0/wind_speed_kt"}},
	{name: "negative wind", swaps: []swap{{`"wind_speed_kt": 45`, `"wind_speed_kt": -1`}}, pointers: []string{"/forecast/steps/0/wind_speed_kt"}},
	{name: "wind from 361", swaps: []swap{{`"wind_from_deg": 240`, `"wind_from_deg": 361`}}, pointers: []string{"/forecast/steps/0/wind_from_deg"}},
	{name: "a sea of 26 m", swaps: []swap{{`"significant_wave_height_m": 6.0`, `"significant_wave_height_m": 26`}}, pointers: []string{"/forecast/steps/0/significant_wave_height_m"}},
	{name: "a period of 0", swaps: []swap{{`"peak_period_s": 10.5`, `"peak_period_s": 0`}}, pointers: []string{"/forecast/steps/1/peak_period_s"}},
	{name: "a rode of 0 m", swaps: []swap{{`"length_m": 183`, `"length_m": 0`}}, pointers: []string{"/gear/rode/length_m"}},
	{name: "a shackle of 0 mm", swaps: []swap{{`"body_mm": 16`, `"body_mm": 0`}}, pointers: []string{"/gear/shackles/0/body_mm"}},
	{name: "a shape coefficient of 0", swaps: []swap{{`"centre_from_bow_m": 5.5, "shape_coefficient": 1.0`, `"centre_from_bow_m": 5.5, "shape_coefficient": 0`}}, pointers: []string{"/vessel/windage/1/shape_coefficient"}},
	{name: "a heading of 120 off the wind", swaps: []swap{{`"heading_off_wind_deg": 30`, `"heading_off_wind_deg": 120`}}, pointers: []string{"/wish/heading_off_wind_deg"}},
	{name: "an empty list of rode lengths", swaps: []swap{{`"intent"`, `"rode_lengths_m": [], "intent"`}}, pointers: []string{"/rode_lengths_m"}},
	{name: "twenty-five rode lengths", swaps: []swap{{`"intent"`, `"rode_lengths_m": [10,20,30,40,50,60,70,80,90,100,110,120,130,140,150,160,170,180,190,200,210,220,230,240,250], "intent"`}}, pointers: []string{"/rode_lengths_m"}},
	{name: "a rode length of 1 km and more", swaps: []swap{{`"intent"`, `"rode_lengths_m": [50, 1001], "intent"`}}, pointers: []string{"/rode_lengths_m/1"}},
	{name: "a stiffness of 21", swaps: []swap{{`"intent"`, `"assume": {"dynamic_stiffness": 21}, "intent"`}}, pointers: []string{"/assume/dynamic_stiffness"}},
	{name: "a data sheet of one reading", swaps: []swap{{`"length_m": 183`, `"length_m": 183, "data_sheet": [{"stretch": 0.1, "load_n": 10}]`}}, pointers: []string{"/gear/rode/data_sheet"}},
	{name: "no steps", body: `{"vessel": {"name": "K", "hull": "workboat", "loa_m": 12, "beam_m": 4, "draught_m": 1, "displacement_kg": 9000}, "intent": "drill", "forecast": {"steps": []}}`, pointers: []string{"/forecast/steps"}},
	{name: "1,001 steps", body: `{"vessel": {"name": "K", "hull": "workboat", "loa_m": 12, "beam_m": 4, "draught_m": 1, "displacement_kg": 9000}, "intent": "drill", "forecast": {"steps": [` + manySteps(1001) + `]}}`, pointers: []string{"/forecast/steps"}},

	// times
	{name: "a time without offset", swaps: []swap{{"2026-01-12T18:00:00Z", "2026-01-12T18:00:00"}}, pointers: []string{"/forecast/steps/0/time"}},
	{name: "the 30th of February", swaps: []swap{{"2026-01-12T18:00:00Z", "2026-02-30T18:00:00Z"}}, pointers: []string{"/forecast/steps/0/time"}},
	{name: "a time as a number", swaps: []swap{{`"2026-01-12T18:00:00Z"`, "1768240800"}}, pointers: []string{"/forecast/steps/0/time"}},
	{name: "the year 9999", swaps: []swap{{"2026-01-13T12:00:00Z", "9999-12-31T23:59:59-12:00"}}, pointers: []string{"/forecast/steps/3/time"}},
	{name: "time running backwards", swaps: []swap{{"2026-01-13T06:00:00Z", "2026-01-12T06:00:00Z"}}, pointers: []string{"/forecast/steps/2/time"}},
	{name: "a time twice", swaps: []swap{{"2026-01-13T00:00:00Z", "2026-01-12T18:00:00Z"}}, pointers: []string{"/forecast/steps/1/time"}},
	{name: "a time twice by its offset", swaps: []swap{{"2026-01-13T00:00:00Z", "2026-01-12T19:00:00+01:00"}}, pointers: []string{"/forecast/steps/1/time"}},

	// fields that do not fit each other
	{name: "heavier than her box", swaps: []swap{{"14000", "90000"}}, pointers: []string{"/vessel/displacement_kg"}},
	{name: "a waterline longer than the hull", swaps: []swap{{`"lwl_m": 11.2`, `"lwl_m": 13`}}, pointers: []string{"/vessel/lwl_m"}},

	// hazards
	{name: "hazards of another type", swaps: []swap{{"FeatureCollection", "GeometryCollection"}}, pointers: []string{"/hazards/type"}},
	{name: "a hazard at latitude 95", swaps: []swap{{`"features": []`, feature("Point", "[5, 95]")}}, pointers: []string{"/hazards/features/0/geometry/coordinates/1"}},
	{name: "a hazard of one number", swaps: []swap{{`"features": []`, feature("Point", "[5]")}}, pointers: []string{"/hazards/features/0/geometry/coordinates"}},
	{name: "a hazard in words", swaps: []swap{{`"features": []`, feature("LineString", `[[5, 60], ["E", 61]]`)}}, pointers: []string{"/hazards/features/0/geometry/coordinates/1/0"}},
	{name: "a line of one point", swaps: []swap{{`"features": []`, feature("LineString", "[[5, 60]]")}}, pointers: []string{"/hazards/features/0/geometry/coordinates"}},
	{name: "an open ring", swaps: []swap{{`"features": []`, feature("Polygon", "[[[5, 60], [6, 60], [6, 61], [5, 61]]]")}}, pointers: []string{"/hazards/features/0/geometry/coordinates/0"}},
	{name: "a polygon nested too little", swaps: []swap{{`"features": []`, feature("Polygon", "[[5, 60], [6, 60], [6, 61], [5, 60]]")}}, pointers: []string{"/hazards/features/0/geometry/coordinates/0/0"}},
	{name: "a height in words", swaps: []swap{{`"features": []`, feature("Point", `[5, 60, "low"]`)}}, pointers: []string{"/hazards/features/0/geometry/coordinates/2"}},
	{name: "an unknown geometry", swaps: []swap{{`"features": []`, feature("Circle", "[5, 60]")}}, pointers: []string{"/hazards/features/0/geometry/type"}},

	// several at once, from every stage
	{
		name: "all stages", swaps: []swap{{"61.2", "91"}, {`"loa_m": 12.2`, `"loa_m": 0, "loa": 12`}, {"2026-01-13T06:00:00Z", "2026-01-12T06:00:00Z"}, {`"features": []`, feature("Point", "[5, 95]")}, {`"gust_kt": 58`, `"gust_kt": 580`}},
		pointers: []string{"/forecast/steps/0/gust_kt", "/forecast/steps/2/time", "/hazards/features/0/geometry/coordinates/1", "/position/latitude_deg", "/vessel/loa", "/vessel/loa_m"},
	},
	{
		name: "a broken vessel hides no wrong forecast", swaps: []swap{{`"loa_m": 12.2, `, ``}, {"2026-01-13T06:00:00Z", "2026-01-12T06:00:00Z"}},
		pointers: []string{"/forecast/steps/2/time", "/vessel/loa_m"},
	},
}

func feature(kind, coordinates string) string {
	return `"features": [{"type": "Feature", "properties": {}, "geometry": {"type": "` + kind + `", "coordinates": ` + coordinates + `}}]`
}

func manySteps(n int) string {
	steps := make([]string, n)
	for i := range steps {
		steps[i] = fmt.Sprintf(`{"time": "2026-01-%02dT%02d:%02d:00Z", "wind_speed_kt": 20}`, 1+i/1440, i/60%24, i%60)
	}
	return strings.Join(steps, ",")
}

func TestBadBodiesAreRefusedByPointer(t *testing.T) {
	t.Parallel()
	for _, c := range badBodies {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			w := newWorld(t)
			body := c.body
			if body == "" {
				body = exampleBody(t)
				for _, s := range c.swaps {
					if !strings.Contains(body, s.old) {
						t.Fatalf("the example does not hold %q", s.old)
					}
					body = strings.Replace(body, s.old, s.new, 1)
				}
			}
			answer := w.do(http.MethodPost, "/v1/plans", body, "Idempotency-Key", "k")
			if answer.StatusCode != http.StatusBadRequest {
				t.Fatalf("status %d, want 400: %s", answer.StatusCode, text(t, answer))
			}
			p := problem(t, answer)
			var got []string
			for _, f := range p.Errors {
				got = append(got, *f.Pointer)
			}
			for _, want := range c.pointers {
				if !slices.Contains(got, want) {
					t.Errorf("pointers %q, want %q among them", got, want)
				}
			}
			if p.Code != "invalid" || len(p.Errors) == 0 {
				t.Errorf("code %q and %d errors, want invalid and some", p.Code, len(p.Errors))
			}
			if n := w.history.Stored(); n != 0 {
				t.Errorf("%d plans were stored, want none", n)
			}
		})
	}
	if len(badBodies) < 60 {
		t.Errorf("%d bad bodies, want at least 60", len(badBodies))
	}
}

// A single slip must not bring complaints about fields that are right.
func TestASingleSlipNamesASingleField(t *testing.T) {
	t.Parallel()
	for _, s := range []swap{
		{`"loa_m": 12.2`, `"loa_m": "12.2"`},
		{`"loa_m": 12.2`, `"loa_m": 0`},
		{`"loa_m": 12.2`, `"loa_m": 12.2, "length": 12`},
		{`"gust_kt": 58`, `"gust_kt": null`},
		{"61.2", "91"},
		{`"diameter_mm": 22`, `"diameter_mm": "22"`},
		{`"intent": "ride_out_storm",`, ``},
		{`"beam_m": 4.0,`, ``},
		{`"diameter_m": 5.5`, `"diameter_m": 0`},
		{"2026-01-12T18:00:00Z", "soon"},
	} {
		w := newWorld(t)
		answer := w.do(http.MethodPost, "/v1/calculations", strings.Replace(exampleBody(t), s.old, s.new, 1))
		if p := problem(t, answer); len(p.Errors) != 1 {
			t.Errorf("%q brought %d errors, want 1: %s", s.new, len(p.Errors), text(t, answer))
		}
	}
}

func TestBadCoverageIsRefusedByPointer(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name     string
		old, new string
		pointer  string
	}{
		{"no domain", `"domain"`, `"area"`, "/forecast/domain"},
		{"an unknown unit", "m/s", "furlong", "/forecast/parameters/wind/unit/symbol/value"},
		{"a range too short", "[20, 15]", "[20]", "/forecast/ranges/wind/values"},
		{"a wind beyond the model", "[20, 15]", "[20, 70]", "/forecast/ranges"},
		{"a year beyond all forecasts", "2026-01-13T00:00:00Z", "3026-01-13T00:00:00Z", "/forecast/domain/axes/t/values/1"},
		{"a year that cannot be written in UTC", "2026-01-13T00:00:00Z", "9999-12-31T23:00:00-05:00", "/forecast/domain/axes/t/values/1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			w := newWorld(t)
			answer := w.do(http.MethodPost, "/v1/calculations", withForecast(t, strings.Replace(coverage, c.old, c.new, 1)))
			if answer.StatusCode != http.StatusBadRequest {
				t.Fatalf("status %d, want 400: %s", answer.StatusCode, text(t, answer))
			}
			found := false
			for _, f := range problem(t, answer).Errors {
				found = found || strings.HasPrefix(*f.Pointer, c.pointer)
			}
			if !found {
				t.Errorf("%s does not name %s", text(t, answer), c.pointer)
			}
		})
	}
}

func TestCoverageOfTooManyTimesIsRefused(t *testing.T) {
	t.Parallel()
	const n = 1001
	times := make([]string, n)
	for i := range times {
		times[i] = strconv.Quote(noon.Add(time.Duration(i) * time.Minute).Format(time.RFC3339))
	}
	long := strings.NewReplacer(
		`"2026-01-12T18:00:00Z", "2026-01-13T00:00:00Z"`, strings.Join(times, ","),
		`"shape": [2]`, fmt.Sprintf(`"shape": [%d]`, n), "[20, 15]", "[15"+strings.Repeat(",15", n-1)+"]",
	).Replace(coverage)
	answer := newWorld(t).do(http.MethodPost, "/v1/calculations", withForecast(t, long))
	if p := problem(t, answer); len(p.Errors) != 1 || *p.Errors[0].Pointer != "/forecast/domain/axes/t" || !strings.Contains(p.Errors[0].Fix, "1000") {
		t.Errorf("%d %s, want the axis and how many it may have", answer.StatusCode, text(t, answer))
	}
}

func TestManyWrongFieldsAreBounded(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	steps := strings.Repeat(`{"time": 1, "wind_speed_kt": "x"},`, 600)
	body := withForecast(t, `{"steps": [`+strings.TrimSuffix(steps, ",")+`]}`)
	p := problem(t, w.do(http.MethodPost, "/v1/calculations", body))
	if len(p.Errors) != 200 || !strings.Contains(p.Detail, "1200 fields") {
		t.Errorf("%d errors and detail %q, want 200 named of 1200", len(p.Errors), p.Detail)
	}
}
