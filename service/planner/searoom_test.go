package planner_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"rideout/service/physics/quantity"
	"rideout/service/planner"
)

// Places of the benchmark and the tests.
var (
	openOcean    = planner.Position{LatitudeDeg: 47, LongitudeDeg: -28}
	leeShore     = planner.Position{LatitudeDeg: 57.3, LongitudeDeg: 7.0}  // some 20 miles west of Jutland's coast
	amongIslands = planner.Position{LatitudeDeg: 59.6, LongitudeDeg: 20.9} // the Archipelago Sea to leeward
)

func at(p planner.Position) planner.Request {
	r := quick(kestrel())
	r.Position = &p
	return r
}

func room(t testing.TB, r planner.Request) planner.SeaRoom {
	t.Helper()
	compute, err := planner.SeaRoomOf(t.Context(), r)
	if err != nil {
		t.Fatal(err)
	}
	got, err := compute()
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func TestSeaRoomOfThreePlaces(t *testing.T) {
	t.Parallel()
	ocean, lee, islands := room(t, at(openOcean)), room(t, at(leeShore)), room(t, at(amongIslands))
	if ocean.ProbabilityAshore != 0 || ocean.NearestHazard != nil || ocean.TimeToLeeShoreH.Low != nil {
		t.Errorf("in the open ocean: probability %g, nearest %+v", ocean.ProbabilityAshore, ocean.NearestHazard)
	}
	if lee.NearestHazard == nil || lee.NearestHazard.Kind != "shore" || math.Abs(lee.NearestHazard.DistanceNM-50) > 40 {
		t.Errorf("off the lee shore: nearest %+v", lee.NearestHazard)
	}
	if islands.ProbabilityAshore == 0 || islands.TimeToLeeShoreH.Low == nil {
		t.Errorf("among islands: probability %g", islands.ProbabilityAshore)
	}
	for name, r := range map[string]planner.SeaRoom{"ocean": ocean, "lee": lee, "islands": islands} {
		// among islands she may be blown past with nothing out, and not on a canopy
		if name != "islands" && r.WithoutAnchor.ProbabilityAshore < r.ProbabilityAshore {
			t.Errorf("%s: %.3f ashore with nothing out, %.3f lying to the canopy", name, r.WithoutAnchor.ProbabilityAshore, r.ProbabilityAshore)
		}
		if len(r.LatestToAct) != 3 || !strings.Contains(r.Limits, "slets") || r.CurrentContained == "" {
			t.Errorf("%s: %d deadlines, limits %q", name, len(r.LatestToAct), r.Limits)
		}
	}
}

// A hazard of the caller's right to leeward is met, whatever its form, and named.
func TestHazardsAreMet(t *testing.T) {
	t.Parallel()
	for form, geometry := range map[string]string{
		"point":   `{"type":"Point","coordinates":[-27.8,47.1]}`,
		"line":    `{"type":"LineString","coordinates":[[-27.9,47.3],[-27.7,46.9]]}`,
		"area":    `{"type":"Polygon","coordinates":[[[-27.9,47.0],[-27.7,47.0],[-27.7,47.2],[-27.9,47.2],[-27.9,47.0]]]}`,
		"several": `{"type":"MultiPolygon","coordinates":[[[[-27.9,47.0],[-27.7,47.0],[-27.7,47.2],[-27.9,47.2],[-27.9,47.0]]]]}`,
	} {
		r := at(openOcean)
		r.Hazards = []byte(`{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"name":"Sule Stack of the tale","radius_m":3000},"geometry":` + geometry + `}]}`)
		got := room(t, r)
		if len(got.Reached) != 1 || got.Reached[0].Name != "Sule Stack of the tale" || got.Reached[0].Kind != "hazard" || got.Reached[0].Probability < 0.1 {
			t.Errorf("%s: reached %+v", form, got.Reached)
		}
	}
}

func TestWithoutPositionOrWindDirectionItIsSaid(t *testing.T) {
	t.Parallel()
	if p := compute(t, quick(kestrel())); p.SeaRoom != nil || !warned(p, "no_position") {
		t.Errorf("without a position: sea room %v, warnings %v", p.SeaRoom, p.Warnings)
	}
	r := at(openOcean)
	for i := range r.Forecast.Steps {
		r.Forecast.Steps[i].WindFrom = nil
	}
	if p := compute(t, r); p.SeaRoom != nil || !warned(p, "no_wind_direction") {
		t.Errorf("without a wind direction: sea room %v, warnings %v", p.SeaRoom, p.Warnings)
	}
}

// Close to a pole no drift is known; the loads are.
func TestNoSeaRoomAtThePole(t *testing.T) {
	t.Parallel()
	if p := compute(t, at(planner.Position{LatitudeDeg: 89, LongitudeDeg: 9})); p.SeaRoom != nil || !warned(p, "sea_room_not_covered") || p.Loads.PeakN.Mid <= 0 {
		t.Errorf("sea room %v, warnings %v", p.SeaRoom, p.Warnings)
	}
}

// A sea that is missing after the last one given is held to it: it does not rise while the wind falls.
func TestMissingSeaIsHeldToTheNearestGiven(t *testing.T) {
	t.Parallel()
	p := compute(t, quick(kestrel())) // 32 kt and 4.4 m, then 18 kt and nothing given
	for _, ph := range p.Phases {
		if ph.Name == "calm" || ph.Name == "strong_wind" {
			if ph.HsM > 5.4 {
				t.Errorf("%s: a sea of %.1f m after 4.4 m, in a falling wind", ph.Name, ph.HsM)
			}
		}
	}
}

func TestPositionOnLandIsRefused(t *testing.T) {
	t.Parallel()
	_, _, err := planner.Compute(t.Context(), at(planner.Position{LatitudeDeg: 61, LongitudeDeg: 9})) // the mountains of Norway
	var invalid *planner.InvalidError
	if !errors.As(err, &invalid) || invalid.Problems[0].Pointer != "/position" {
		t.Errorf("got %v, want the position refused", err)
	}
}

// Across the date line the GeoJSON is cut, and every longitude stays within 180 degrees.
func TestTrackAcrossTheDateLine(t *testing.T) {
	t.Parallel()
	got := room(t, at(planner.Position{LatitudeDeg: 47, LongitudeDeg: 179.75}))
	if !strings.Contains(string(got.Track), "MultiLineString") || !strings.Contains(string(got.Containment), "MultiPolygon") {
		t.Errorf("not cut: track %s", got.Track)
	}
	for _, raw := range []json.RawMessage{got.Track, got.Containment} {
		var tree any
		if err := json.Unmarshal(raw, &tree); err != nil {
			t.Fatal(err)
		}
		eachPosition(tree, func(lon, lat float64) {
			if math.Abs(lon) > 180 || math.Abs(lat-47) > 3 {
				t.Errorf("position %g, %g", lon, lat)
			}
		})
	}
}

func eachPosition(tree any, visit func(lon, lat float64)) {
	switch v := tree.(type) {
	case map[string]any:
		for k, inner := range v {
			if k != "properties" {
				eachPosition(inner, visit)
			}
		}
	case []any:
		if len(v) == 2 {
			lon, isLon := v[0].(float64)
			lat, isLat := v[1].(float64)
			if isLon && isLat {
				visit(lon, lat)
				return
			}
		}
		for _, inner := range v {
			eachPosition(inner, visit)
		}
	}
}

// Where she is at an instant agrees with the plan's own track.
func TestWhereAtAgreesWithTheTrack(t *testing.T) {
	t.Parallel()
	r := at(amongIslands)
	plan := room(t, r)
	got, err := planner.WhereAt(r, plan, dusk.Add(3*time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	var track struct {
		Features []struct {
			Geometry struct{ Coordinates [][2]float64 }
		}
	}
	if err := json.Unmarshal(plan.Track, &track); err != nil {
		t.Fatal(err)
	}
	want := track.Features[0].Geometry.Coordinates[3]
	if math.Abs(got.Position.LongitudeDeg-want[0]) > 2e-5 || math.Abs(got.Position.LatitudeDeg-want[1]) > 2e-5 {
		t.Errorf("after 3 h at %v, the track says %v", got.Position, want)
	}
	if got.Adrift == nil || len(got.Containment) != 3 || got.Containment[0].AreaNM2 >= got.Containment[2].AreaNM2 {
		t.Errorf("containment %+v", got.Containment)
	}
	if _, err := planner.WhereAt(r, plan, dusk.Add(1000*time.Hour)); err == nil {
		t.Error("an instant beyond the forecast is answered")
	}
}

// Without wind and current she stays, but for the error of her position.
func TestNoWindNoDrift(t *testing.T) {
	t.Parallel()
	r := at(openOcean)
	calm, none := 0.0, quantity.Degrees(0)
	for i := range r.Forecast.Steps {
		s := &r.Forecast.Steps[i]
		s.WindMS, s.HsM, s.TpS, s.CurrentMS, s.CurrentToward = 0, &calm, nil, &calm, &none
	}
	got := room(t, r)
	eachPosition(func() any {
		var tree any
		_ = json.Unmarshal(got.Track, &tree)
		return tree
	}(), func(lon, lat float64) {
		if math.Abs(lon+28) > 1e-5 || math.Abs(lat-47) > 1e-5 {
			t.Errorf("she goes to %g, %g without wind or current", lon, lat)
		}
	})
}

func BenchmarkSeaRoom(b *testing.B) {
	for name, p := range map[string]planner.Position{"open_ocean": openOcean, "lee_shore": leeShore, "among_islands": amongIslands} {
		b.Run(name, func(b *testing.B) {
			compute, err := planner.SeaRoomOf(b.Context(), at(p))
			if err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				if _, err := compute(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkSeaRoomByHazards is the lee shore with more and more hazards of the caller's about it.
func BenchmarkSeaRoomByHazards(b *testing.B) {
	for _, n := range []int{0, 50, 100, 200, 400} {
		b.Run(strconv.Itoa(n), func(b *testing.B) {
			r := at(leeShore)
			var features []string
			for i := range n {
				lon, lat := leeShore.LongitudeDeg+0.02*float64(i%20), leeShore.LatitudeDeg-0.4+0.02*float64(i/20)
				features = append(features, fmt.Sprintf(`{"type":"Feature","properties":{"name":"rock %d","radius_m":100},"geometry":{"type":"Point","coordinates":[%.4f,%.4f]}}`, i, lon+0.3, lat))
			}
			r.Hazards = []byte(`{"type":"FeatureCollection","features":[` + strings.Join(features, ",") + `]}`)
			compute, err := planner.SeaRoomOf(b.Context(), r)
			if err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				if _, err := compute(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
