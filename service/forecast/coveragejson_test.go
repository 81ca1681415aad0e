package forecast_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"rideout/service/forecast"
	"rideout/service/planner"
)

var none = math.NaN()

// wantStep is a step in the units a reader checks by hand; NaN is missing.
type wantStep struct {
	time                                  string
	windMS, gustMS, windFromDeg           float64
	hsM, tpS, waveFromDeg, swellHsM, swTp float64
	currentMS, currentTowardDeg, depthM   float64
}

func TestDecodeCoverageJSON(t *testing.T) {
	t.Parallel()
	kt := 1852.0 / 3600
	windToNorthEast := math.Atan2(3, 4) * 180 / math.Pi
	for _, c := range []struct {
		name, source string
		lat, lon     float64
		steps        []wantStep
		notes        []string
	}{
		{"gale", "invented gale off Hamna", 61.2, -6.4, []wantStep{
			{"2031-02-03T06:00:00Z", 36 * kt, 47 * kt, 240, 4.5, 9.5, 245, none, none, none, none, none},
			{"2031-02-03T12:00:00Z", 45 * kt, none, 250, 6, 10.5, none, none, none, none, none, none},
			{"2031-02-03T18:00:00Z", 40.5 * kt, 52 * kt, 0, none, none, 270, none, none, none, none, none},
		}, []string{forecast.NoteParameterUnused}},
		// Step 0 has both partitions, step 1 the total and the swell, step 2 the total alone.
		{"partitions", "CoverageJSON PointSeries", -44, -10, []wantStep{
			{"2031-02-03T06:00:00Z", 5, none, 180 + windToNorthEast, 3.048, 8, 1.5 * 180 / math.Pi, 4, 14, 0.5, windToNorthEast, 182.88},
			{"2031-02-03T07:30:00Z", 0, none, none, 4, 11, none, none, none, 0, none, 182.88},
			{"2031-02-03T09:00:00.5Z", 10, none, 90, 3, 10, none, none, none, none, none, 182.88},
		}, []string{forecast.NotePeriodKind}},
		{"single", "CoverageJSON PointSeries", 0, 0, []wantStep{
			{"2031-02-03T06:00:00Z", 20, none, 270, none, none, none, none, none, none, none, none},
		}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, notes, err := forecast.DecodeCoverageJSON(sample(t, c.name))
			if err != nil {
				t.Fatal(err)
			}
			near(t, "latitude", &got.Position.LatitudeDeg, c.lat)
			near(t, "longitude", &got.Position.LongitudeDeg, c.lon)
			if got.Forecast.Source != c.source {
				t.Errorf("source %q, want %q", got.Forecast.Source, c.source)
			}
			var codes []string
			for _, n := range notes {
				codes = append(codes, n.Code)
			}
			if !slices.Equal(codes, c.notes) {
				t.Errorf("notes %q, want %q", codes, c.notes)
			}
			if len(got.Forecast.Steps) != len(c.steps) {
				t.Fatalf("%d steps, want %d", len(got.Forecast.Steps), len(c.steps))
			}
			for i, want := range c.steps {
				s := got.Forecast.Steps[i]
				if at := s.Time.Format(time.RFC3339Nano); at != want.time {
					t.Errorf("step %d at %s, want %s", i, at, want.time)
				}
				near(t, "wind", &s.WindMS, want.windMS)
				near(t, "gust", s.GustMS, want.gustMS)
				nearDeg(t, "wind from", s.WindFrom, want.windFromDeg)
				near(t, "Hs", s.HsM, want.hsM)
				near(t, "Tp", s.TpS, want.tpS)
				nearDeg(t, "wave from", s.WaveFrom, want.waveFromDeg)
				near(t, "swell Hs", s.SwellHsM, want.swellHsM)
				near(t, "swell Tp", s.SwellTpS, want.swTp)
				near(t, "current", s.CurrentMS, want.currentMS)
				nearDeg(t, "current toward", s.CurrentToward, want.currentTowardDeg)
				near(t, "depth", s.DepthM, want.depthM)
			}
		})
	}
}

// Each case changes one member of a sound document; the problem must stand where the change is
// (or at the member whose absence it is).
func TestDecodeCoverageJSONRefuses(t *testing.T) {
	t.Parallel()
	times := func(texts ...any) []any { return texts }
	for _, c := range []struct {
		name, sample, pointer string
		value                 any
		want                  []string
	}{
		{"collection", "gale", "/type", "CoverageCollection", []string{"/type"}},
		{"id is no string", "gale", "/id", 7, []string{"/id"}},
		{"domain by link", "gale", "/domain", "domain.json", []string{"/domain"}},
		{"grid", "gale", "/domain/domainType", "Grid", []string{"/domain/domainType"}},
		{"grid by the coverage", "partitions", "/domainType", "Grid", []string{"/domainType"}},
		{"no ranges", "single", "/ranges", gone{}, []string{"/ranges/wind_speed", "/ranges/wind_to_direction"}},
		{"no parameters", "single", "/parameters", gone{}, []string{"/parameters"}},
		{"no domain type word", "gale", "/domain/type", gone{}, []string{"/domain/type"}},
		{"trajectory axis", "gale", "/domain/axes/composite", map[string]any{"values": []any{1}}, []string{"/domain/axes/composite"}},
		{"axis by start and stop", "single", "/domain/axes/x", map[string]any{"start": 0, "stop": 1, "num": 1}, []string{
			"/domain/axes/x/num", "/domain/axes/x/start", "/domain/axes/x/stop", "/domain/axes/x/values",
		}},
		{"two longitudes", "single", "/domain/axes/x/values", times(1, 2), []string{"/domain/axes/x/values"}},
		{"latitude 91", "single", "/domain/axes/y/values", times(91), []string{"/domain/axes/y/values/0"}},
		{"longitude as text", "single", "/domain/axes/x/values", times("6W"), []string{"/domain/axes/x/values/0"}},
		{"bounds too short", "gale", "/domain/axes/x/bounds", times(-6), []string{"/domain/axes/x/bounds"}},
		{"no time axis", "single", "/domain/axes/t", gone{}, []string{"/domain/axes/t/values"}},
		{"a day", "single", "/domain/axes/t/values", times("2031-02-03"), []string{"/domain/axes/t/values/0"}},
		{"time as number", "single", "/domain/axes/t/values", times(0), []string{"/domain/axes/t/values/0"}},
		{"time backwards", "gale", "/domain/axes/t/values/2", "2031-02-03T07:00:00Z", []string{"/domain/axes/t/values/2"}},
		{"time twice", "gale", "/domain/axes/t/values/1", "2031-02-03T06:00:00Z", []string{"/domain/axes/t/values/1"}},
		{"no referencing", "gale", "/domain/referencing", gone{}, []string{"/domain/referencing"}},
		{"projected", "single", "/domain/referencing/0/system/type", "ProjectedCRS", []string{"/domain/referencing/0/system"}},
		{"another datum", "gale", "/domain/referencing/0/system/id", "http://www.opengis.net/def/crs/EPSG/0/4267", []string{"/domain/referencing/0/system"}},
		{"no system type", "gale", "/domain/referencing/2/system/type", gone{}, []string{"/domain/referencing/2/system/type"}},
		{"a calendar of 360 days", "gale", "/domain/referencing/2/system/calendar", "http://example.org/360_day", []string{"/domain/referencing/2/system"}},
		{"no coordinates", "gale", "/domain/referencing/1/coordinates", times(), []string{"/domain/referencing/1/coordinates"}},
		{"coordinate is no string", "gale", "/domain/referencing/1/coordinates/0", 1, []string{"/domain/referencing/1/coordinates/0"}},
		{"unknown unit", "gale", "/parameters/wind_speed/unit/symbol", "furlong/fortnight", []string{"/parameters/wind_speed/unit/symbol"}},
		{"unknown unit in a pair", "gale", "/parameters/h/unit/symbol/value", "furlong", []string{"/parameters/h/unit/symbol/value"}},
		{"unit pair without scheme", "gale", "/parameters/h/unit/symbol/type", gone{}, []string{"/parameters/h/unit/symbol/value"}},
		{"unit pair without value", "gale", "/parameters/h/unit/symbol/value", gone{}, []string{"/parameters/h/unit/symbol"}},
		{"unit of another kind", "gale", "/parameters/wind_speed/unit/symbol", "s", []string{"/parameters/wind_speed/unit/symbol"}},
		{"no unit", "gale", "/parameters/tp/unit", gone{}, []string{"/parameters/tp"}},
		{"no symbol", "gale", "/parameters/tp/unit/symbol", gone{}, []string{"/parameters/tp/unit"}},
		{"parameter's type", "gale", "/parameters/tp/type", "Thing", []string{"/parameters/tp/type"}},
		{"no label", "gale", "/parameters/tp/observedProperty/label", gone{}, []string{"/parameters/tp/observedProperty/label"}},
		{"label in no language", "gale", "/parameters/tp/observedProperty/label", "Tp", []string{"/parameters/tp/observedProperty/label"}},
		{"no wind", "single", "/parameters/wind_speed", gone{}, []string{"/parameters"}},
		{"one component", "partitions", "/parameters/v", gone{}, []string{"/parameters"}},
		{"a name given twice", "gale", "/parameters/x", map[string]any{
			"type": "Parameter", "observedProperty": map[string]any{"label": map[string]any{"en": "Wind speed"}}, "unit": map[string]any{"symbol": "m/s"},
		}, []string{"/parameters/x"}},
		{"no range", "gale", "/ranges/wind_speed", gone{}, []string{"/ranges/wind_speed"}},
		{"range by link", "gale", "/ranges/wind_speed", "wind.json", []string{"/ranges/wind_speed"}},
		{"tiles", "gale", "/ranges/wind_speed/type", "TiledNdArray", []string{"/ranges/wind_speed/type"}},
		{"strings", "gale", "/ranges/wind_speed/dataType", "string", []string{"/ranges/wind_speed/dataType"}},
		{"too few values", "gale", "/ranges/wind_speed/values", times(30, 31), []string{"/ranges/wind_speed/values"}},
		{"wrong size", "gale", "/ranges/wind_speed/shape/0", 4, []string{"/ranges/wind_speed/shape/0"}},
		{"shape without axes", "gale", "/ranges/g/axisNames", gone{}, []string{"/ranges/g/shape"}},
		{"neither shape nor axes", "gale", "/ranges/g", map[string]any{"type": "NdArray", "dataType": "float", "values": times(1, 2, 3)}, []string{"/ranges/g/shape"}},
		{"unknown axis", "gale", "/ranges/g/axisNames/0", "q", []string{"/ranges/g/axisNames/0", "/ranges/g/axisNames"}},
		{"axis twice", "gale", "/ranges/wind_speed/axisNames/1", "t", []string{"/ranges/wind_speed/axisNames/1"}},
		{"a word among numbers", "gale", "/ranges/g/values/1", "none", []string{"/ranges/g/values/1"}},
		{"a fill value", "gale", "/ranges/h/values", times(-9999, 4, -9999), []string{"/ranges/h/values/0"}},
		{"a direction of 999", "gale", "/ranges/wd/values/1", 999, []string{"/ranges/wd/values/1"}},
		{"a broken whole number", "gale", "/ranges/d/values/1", 250.5, []string{"/ranges/d/values/1"}},
		{"wind missing twice", "gale", "/ranges/wind_speed/values", times(36, nil, nil), []string{"/domain/axes/t/values/1"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, notes, err := forecast.DecodeCoverageJSON(edited(t, sample(t, c.sample), c.pointer, c.value))
			if err == nil {
				t.Fatalf("accepted: %+v", got)
			}
			if len(got.Forecast.Steps) != 0 || notes != nil {
				t.Errorf("an error and a value: %+v %+v", got, notes)
			}
			if pointers := pointersOf(t, err); !slices.Equal(pointers, c.want) {
				t.Errorf("problems at %q, want %q\n%v", pointers, c.want, err)
			}
		})
	}
}

func TestDecodeCoverageJSONReportsAllAtOnce(t *testing.T) {
	t.Parallel()
	doc := edited(t, sample(t, "gale"), "/parameters/wind_speed/unit/symbol", "?")
	doc = edited(t, doc, "/domain/axes/y/values/0", 100)
	doc = edited(t, doc, "/ranges/tp/values/0", -1)
	_, _, err := forecast.DecodeCoverageJSON(doc)
	want := []string{"/domain/axes/y/values/0", "/ranges/tp/values/0", "/parameters/wind_speed/unit/symbol"}
	if got := pointersOf(t, err); !slices.Equal(got, want) {
		t.Errorf("problems at %q, want %q", got, want)
	}
	for _, pointer := range want {
		if !strings.Contains(err.Error(), pointer) {
			t.Errorf("the text %q does not name %s", err, pointer)
		}
	}
}

func TestDecodeCoverageJSONRefusesLooseJSON(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, doc, pointer string }{
		{"empty", "", ""},
		{"cut off", `{"type": "Coverage"`, ""},
		{"two documents", `{} {}`, ""},
		{"no object", `[1]`, "/type"},
		{"null", `null`, "/type"},
		{"a member twice", `{"a/b": {"~": 1, "~": 2}}`, "/a~1b/~0"},
		{"too deep", strings.Repeat("[", 100) + strings.Repeat("]", 100), strings.Repeat("/0", 65)},
		{"Latin-1", "{\"id\": \"\xe9\"}", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, _, err := forecast.DecodeCoverageJSON([]byte(c.doc))
			if got := pointersOf(t, err); !slices.Equal(got, []string{c.pointer}) {
				t.Errorf("problems at %q, want %q", got, c.pointer)
			}
		})
	}
	huge := strings.Replace(string(sample(t, "single")), "72", "1e400", 1)
	if _, _, err := forecast.DecodeCoverageJSON([]byte(huge)); !slices.Equal(pointersOf(t, err), []string{"/ranges/wind_speed/values/0"}) {
		t.Errorf("1e400: %v", err)
	}
}

func TestDecodeCoverageJSONNotes(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, sample, pointer string
		value                 any
		code                  string
		count                 int
	}{
		{"wind at 80 m", "gale", "/domain/axes/z/values/0", 80, forecast.NoteWindAsGiven, 0},
		{"flat sea", "gale", "/ranges/tp/values/0", 0, forecast.NotePeriodZero, 1},
		{"a week without", "gale", "/domain/axes/t/values/2", "2031-02-10T12:00:00Z", forecast.NoteGap, 1},
		{"a direction to beside one from", "single", "/parameters/wind_from_direction", map[string]any{
			"type": "Parameter", "observedProperty": map[string]any{"label": map[string]any{"en": "x"}}, "unit": map[string]any{"symbol": "deg"},
		}, forecast.NoteParameterUnused, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			doc := edited(t, sample(t, c.sample), c.pointer, c.value)
			if c.code == forecast.NoteParameterUnused {
				doc = edited(t, doc, "/ranges/wind_from_direction", map[string]any{"type": "NdArray", "dataType": "float", "values": []any{270}})
			}
			_, notes, err := forecast.DecodeCoverageJSON(doc)
			if err != nil {
				t.Fatal(err)
			}
			n, ok := noteOf(notes, c.code)
			if !ok || n.Count != c.count || n.Message == "" {
				t.Errorf("notes %+v, want %s of %d", notes, c.code, c.count)
			}
		})
	}
}

// By hand, from U(z) = U10 (1 + .137 ln(z/10)): at 3 m the wind is 0.8351 of that at 10 m, its force 0.6973, and 1/0.6973 = 1.43.
// Only what bears on the figures goes to the plan.
func TestNotesForThePlan(t *testing.T) {
	t.Parallel()
	for height, want := range map[float64]string{3: "was it measured 3 m above the water, its force is 1.43 times what is reckoned with.", 0: "as if at 10 m.", -5: "as if at 10 m."} {
		got, _, err := forecast.DecodeCoverageJSON(edited(t, sample(t, "gale"), "/domain/axes/z/values/0", height))
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(got.Forecast.Notes, func(n planner.Note) bool { return n.Code == forecast.NoteWindAsGiven })
		if i < 0 || !strings.HasSuffix(got.Forecast.Notes[i].Message, want) {
			t.Errorf("at %g m: notes %+v, want one that ends %q", height, got.Forecast.Notes, want)
		}
	}
	got, _, err := forecast.DecodeCoverageJSON(edited(t, sample(t, "gale"), "/domain/axes/t/values/2", "2031-02-10T12:00:00Z"))
	if err != nil || slices.ContainsFunc(got.Forecast.Notes, func(n planner.Note) bool { return n.Code == forecast.NoteGap }) {
		t.Errorf("notes %+v, %v, want none of the gap", got.Forecast.Notes, err)
	}
}

// Where the partitions are incomplete the step says what there is.
func TestSeaOfPartitions(t *testing.T) {
	t.Parallel()
	noTotal := edited(t, sample(t, "partitions"), "/ranges/hs/values", []any{nil, nil, nil})
	windSeaOnly := edited(t, edited(t, noTotal, "/ranges/hsw/values/0", nil), "/ranges/hw/values/1", 20)
	got, _, err := forecast.DecodeCoverageJSON(windSeaOnly)
	if err != nil {
		t.Fatal(err)
	}
	steps := got.Forecast.Steps
	near(t, "Hs of the wind sea alone", steps[0].HsM, 3.048)
	near(t, "its Tp", steps[0].TpS, 8)
	near(t, "no swell beside it", steps[0].SwellHsM, none)

	swellOnly, _, err := forecast.DecodeCoverageJSON(noTotal)
	if err != nil {
		t.Fatal(err)
	}
	steps = swellOnly.Forecast.Steps
	near(t, "Hs without wind sea", steps[1].HsM, none)
	near(t, "the swell alone", steps[1].SwellHsM, 3.5)
	near(t, "its period", steps[1].SwellTpS, 13)
	near(t, "nothing at all", steps[2].HsM, none)
}

// A forecast in other units is the same forecast.
func TestUnitsAgree(t *testing.T) {
	t.Parallel()
	base := sample(t, "single")
	for symbol, value := range map[string]float64{
		"m/s": 20, "m s-1": 20, "[kn_i]": 20 * 3600 / 1852.0, "kt": 20 * 3600 / 1852.0, "km/h": 72, "cm/s": 2000, "[mi_i]/h": 72 / 1.609344,
	} {
		doc := edited(t, edited(t, base, "/parameters/wind_speed/unit/symbol", symbol), "/ranges/wind_speed/values/0", value)
		got, _, err := forecast.DecodeCoverageJSON(doc)
		if err != nil {
			t.Errorf("%s: %v", symbol, err)
			continue
		}
		near(t, symbol, &got.Forecast.Steps[0].WindMS, 20)
	}
}

// An Error is found through wrapping and lists no more problems than can be read.
func TestErrorIsCapped(t *testing.T) {
	t.Parallel()
	var rows strings.Builder
	rows.WriteString("YY MM DD hh WSPD\n")
	for range 200 {
		rows.WriteString("2031 01 01 00 windy\n")
	}
	_, _, err := forecast.DecodeNDBC([]byte(rows.String()))
	var bad *forecast.Error
	if !errors.As(err, &bad) || len(bad.Problems) != 50 || !strings.Contains(bad.Problems[49].Message, "150 more") {
		t.Errorf("got %v", err)
	}
}
