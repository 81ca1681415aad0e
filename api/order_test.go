package api_test

import (
	"context"
	"encoding/json"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"

	"rideout/service/fleet"
	"rideout/service/planner"
)

// exampleWith gives the example body with members put in, and others taken out.
func exampleWith(t *testing.T, members string, without ...string) string {
	t.Helper()
	var body map[string]json.RawMessage
	if err := json.Unmarshal([]byte(exampleBody(t)), &body); err != nil {
		t.Fatal(err)
	}
	for _, name := range without {
		delete(body, name)
	}
	if err := json.Unmarshal([]byte(members), &body); err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(body)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func named(vessel string) string {
	return `{"vessel_id": "` + strings.TrimPrefix(vessel, "/v1/vessels/") + `"}`
}

// A plan for a registered vessel is for her as she is registered when it begins, with what is fitted to her then.
func TestPlanForARegisteredVessel(t *testing.T) {
	t.Parallel()
	w := newWorld(t) // noon; the forecast begins at 18:00
	var computed planner.Request
	w.compute = func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		computed = r
		return samplePlan(ctx, r)
	}
	vessel := w.add("/v1/vessels", ternBody)
	gear := w.add(vessel+"/gear", rodeBody)
	w.add(vessel+"/gear", `{"kind": "canopy", "canopy": {"shape": "conical", "diameter_m": 4}}`)
	w.add(vessel+"/gear", `{"kind": "shackle", "spare": true, "shackle": {"body_mm": 16}}`)
	w.add(vessel+"/gear?valid_from=2026-01-12T18:00:01Z", `{"kind": "trip_line", "trip_line": {"length_m": 30}}`)
	w.add(gear+"/inspections", inspectionBody)
	w.add(gear+"/inspections", strings.Replace(strings.Replace(inspectionBody, "0.05", "0.2", 1), "2026-01-10", "2026-01-09", 1))
	calculate := func(body string) planner.Request {
		t.Helper()
		if answer := w.do(http.MethodPost, "/v1/calculations", body); answer.StatusCode != http.StatusOK {
			t.Fatalf("status %d: %s", answer.StatusCode, text(t, answer))
		}
		return computed
	}
	req := calculate(exampleWith(t, named(vessel), "vessel", "gear"))
	if req.Vessel.Name != "Tern of Hamna" || req.Vessel.MMSI != "231000000" || req.Gear == nil || req.Gear.Rode == nil || req.Gear.Canopy == nil || req.Gear.Canopy.DiameterM != 4 || len(req.Gear.Shackles) > 0 || req.Gear.TripLine != nil {
		t.Errorf("got %+v with %+v, want Tern with rode and canopy alone", req.Vessel, req.Gear)
	}
	if r := req.Gear.Rode; r != nil && (r.ChafedShare != 0.05 || r.AgeYears < 1.99 || r.AgeYears > 2.01) {
		t.Errorf("rode chafed %g, %g years old; want 0.05 as measured last, and 2", r.ChafedShare, r.AgeYears)
	}
	if req := calculate(exampleWith(t, named(vessel), "vessel")); req.Gear.Canopy.DiameterM != 5.5 {
		t.Errorf("gear that was sent: canopy of %g m, want 5.5", req.Gear.Canopy.DiameterM)
	}
	// She is sold, and with her new draught she has another hash.
	if answer := w.change(vessel+"?valid_from=2026-01-12T17:00:00Z", `{"draught_m": 1.1}`); answer.StatusCode != http.StatusOK {
		t.Fatal(text(t, answer))
	}
	if req := calculate(exampleWith(t, named(vessel), "vessel", "gear")); req.Vessel.DraughtM != 1.1 {
		t.Errorf("draught %g m, want 1.1 as it will be", req.Vessel.DraughtM)
	}
	w.change(gear, `{"retired_at": "2026-01-12T11:00:00Z", "retired_why": "chafed"}`)
	if req := calculate(exampleWith(t, named(vessel), "vessel", "gear")); req.Gear.Rode != nil {
		t.Errorf("rode %+v, want none: it is retired", req.Gear.Rode)
	}
	w.add(vessel+"/gear", `{"kind": "canopy", "canopy": {"shape": "conical", "diameter_m": 3}}`)
	answer := w.do(http.MethodPost, "/v1/calculations", exampleWith(t, named(vessel), "vessel", "gear"))
	if p := problem(t, answer); answer.StatusCode != http.StatusUnprocessableEntity || p.Code != "wrong_reference" || !slices.Equal(pointersOf(p), []string{"/gear/canopy"}) {
		t.Errorf("two canopies: %d %s, want 422 naming /gear/canopy", answer.StatusCode, text(t, answer))
	}
}

func TestKeptPlanNamesItsVesselAndWhatItSupersedes(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	vessel, other := w.add("/v1/vessels", ternBody), w.add("/v1/vessels", strings.Replace(ternBody, "Tern", "Skua", 1))
	post := func(key, body string) *http.Response {
		return w.do(http.MethodPost, "/v1/plans", body, "Idempotency-Key", key)
	}
	body := exampleWith(t, named(vessel), "vessel")
	first := post("a", body)
	id := strings.TrimPrefix(first.Header.Get("Location"), "/v1/plans/")
	with := func(v string) string {
		return exampleWith(t, named(v)[:len(named(v))-1]+`, "supersedes": "`+id+`"}`, "vessel")
	}
	second := post("b", with(vessel))
	var kept struct {
		VesselID, Supersedes string
		Links                map[string]string
	}
	if err := json.Unmarshal([]byte(strings.NewReplacer("vessel_id", "VesselID").Replace(text(t, second))), &kept); err != nil {
		t.Fatal(err)
	}
	if second.StatusCode != http.StatusCreated || kept.Supersedes != id || kept.Links["vessel"] != vessel || kept.Links["supersedes"] != "/v1/plans/"+id || kept.VesselID != strings.TrimPrefix(vessel, "/v1/vessels/") {
		t.Errorf("%d with %+v, want the vessel and the plan it supersedes", second.StatusCode, kept)
	}
	for name, c := range map[string]struct {
		body    string
		pointer string
	}{
		"another vessel":     {with(other), "/supersedes"},
		"another name":       {exampleWith(t, `{"supersedes": "`+id+`"}`), "/supersedes"},
		"no such plan":       {strings.Replace(with(vessel), id, "00000000-0000-7000-8000-000000000099", 1), "/supersedes"},
		"no such vessel":     {exampleWith(t, `{"vessel_id": "00000000-0000-7000-8000-000000000099"}`, "vessel"), "/vessel_id"},
		"a gear id as hers":  {exampleWith(t, `{"vessel_id": "`+id+`"}`, "vessel"), "/vessel_id"},
		"the same name, her": {exampleWith(t, `{"supersedes": "`+id+`", "vessel": `+strings.Split(ternBody, `, "imo"`)[0]+`}}`), ""},
	} {
		answer := post(strings.ReplaceAll(name, " ", "-"), c.body)
		if c.pointer == "" {
			if answer.StatusCode != http.StatusCreated {
				t.Errorf("%s: %d %s, want 201", name, answer.StatusCode, text(t, answer))
			}
			continue
		}
		if p := problem(t, answer); answer.StatusCode != http.StatusUnprocessableEntity || p.Code != "wrong_reference" || !slices.Equal(pointersOf(p), []string{c.pointer}) {
			t.Errorf("%s: %d %s, want 422 naming %s", name, answer.StatusCode, text(t, answer), c.pointer)
		}
	}
	for query, want := range map[string]int{
		"vessel_id=" + strings.TrimPrefix(vessel, "/v1/vessels/"): 2, "vessel_id=" + strings.TrimPrefix(other, "/v1/vessels/"): 0, "": 3,
	} {
		if got := len(w.members("/v1/plans?" + query)["items"].([]any)); got != want {
			t.Errorf("%q: %d plans, want %d", query, got, want)
		}
	}
	// A repeat answers what was answered, whatever has become of her.
	w.change(vessel, `{"draught_m": 1.2}`)
	if again := post("a", body); again.Header.Get("Idempotency-Replayed") != "true" || text(t, again) != text(t, first) {
		t.Errorf("repeat: %d, want the first answer", again.StatusCode)
	}
	fresh := post("c", body)
	if hash := func(r *http.Response) string { return strings.Split(text(t, r), `"input_sha256":"`)[1][:64] }; hash(fresh) == hash(first) {
		t.Error("with another draught the inputs have the same hash")
	}
	// Deployments of the plan are hers.
	if got := w.members(w.add(first.Header.Get("Location")+"/deployments", deploymentBody))["vessel_id"]; got != strings.TrimPrefix(vessel, "/v1/vessels/") {
		t.Errorf("a deployment's vessel is %v, want the plan's", got)
	}
}

func TestVesselIsSentOrNamed(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	vessel := w.add("/v1/vessels", ternBody)
	for name, c := range map[string]struct {
		body     string
		pointers []string
	}{
		"both":          {exampleWith(t, named(vessel)), []string{"/vessel_id"}},
		"neither":       {exampleWith(t, `{}`, "vessel"), []string{"/vessel"}},
		"no id":         {exampleWith(t, `{"vessel_id": "Tern"}`, "vessel"), []string{"/vessel_id"}},
		"and wrong too": {exampleWith(t, named(vessel)[:len(named(vessel))-1]+`, "intent": "race"}`, "vessel"), []string{"/intent"}},
	} {
		answer := w.do(http.MethodPost, "/v1/calculations", c.body)
		if got := pointersOf(problem(t, answer)); answer.StatusCode != http.StatusBadRequest || !slices.Equal(got, c.pointers) {
			t.Errorf("%s: %d naming %q, want 400 naming %q", name, answer.StatusCode, got, c.pointers)
		}
	}
}

// The policy in force when the plan begins judges it; a plan from before there was one is judged by the default.
func TestPlanIsJudgedByThePolicy(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	var computed planner.Request
	w.compute = func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		computed = r
		return samplePlan(ctx, r)
	}
	w.do(http.MethodPost, "/v1/calculations", exampleBody(t))
	if computed.Policy != nil {
		t.Errorf("policy %+v before one is recorded, want none", computed.Policy)
	}
	for from, factor := range map[string]string{"2026-01-12T17:00:00Z": "4", "2026-01-12T19:00:00Z": "5"} {
		if answer := w.do(http.MethodPut, "/v1/policy?valid_from="+from, `{"rope_factor": `+factor+`}`, "If-Match", "*"); answer.StatusCode != http.StatusOK {
			t.Fatal(text(t, answer))
		}
	}
	w.pass(time.Second)
	w.do(http.MethodPost, "/v1/calculations", exampleBody(t))
	if computed.Policy == nil || computed.Policy.Factors.RopeFactor != 4 || computed.Policy.RigAboveKt != planner.DefaultPolicy().RigAboveKt {
		t.Errorf("policy %+v, want rope factor 4 and else the default", computed.Policy)
	}
}

// What fleet writes is the contract's, name by name; and a registered vessel has the fields of a plan's.
func TestBookIsTheContracts(t *testing.T) {
	t.Parallel()
	schemas := theContract().Components.Schemas
	given := []string{"id", "version", "valid_from", "recorded_at", "recorded_by", "links"}
	for _, kind := range fleet.Kinds() {
		name := map[fleet.Kind]string{fleet.KindGear: "GearRecord"}[kind]
		if name == "" {
			name = strings.ToUpper(string(kind[:1])) + string(kind[1:]) + "Record"
		}
		want := slices.DeleteFunc(slices.Sorted(keysOf(schemas[name].Value.Properties)), func(n string) bool { return slices.Contains(given, n) })
		got := namesOf(reflect.TypeOf(fleet.Describe(kind).New()).Elem())
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Errorf("%s: fleet has\n%q, the contract\n%q", name, got, want)
		}
	}
	for name, p := range schemas["Vessel"].Value.Properties {
		theirs, err := schemas["VesselRecord"].Value.Properties[name].MarshalJSON()
		if err != nil {
			t.Fatal(err)
		}
		if ours, err := p.MarshalJSON(); err != nil || string(ours) != string(theirs) {
			t.Errorf("%s: a registered vessel's is %s, a plan's %s", name, theirs, ours)
		}
	}
	for name, kind := range map[string]reflect.Type{
		"Vessel": reflect.TypeFor[fleet.Particulars](), "WindagePart": reflect.TypeFor[fleet.Windage](), "StrongPoint": reflect.TypeFor[fleet.StrongPoint](),
		"Gear": reflect.TypeFor[fleet.Set](), "Canopy": reflect.TypeFor[fleet.Canopy](), "Rode": reflect.TypeFor[fleet.Rode](), "Shackle": reflect.TypeFor[fleet.Shackle](),
		"Swivel": reflect.TypeFor[fleet.Swivel](), "Chain": reflect.TypeFor[fleet.Chain](), "TripLine": reflect.TypeFor[fleet.TripLine](), "Float": reflect.TypeFor[fleet.Float](),
		"Bridle": reflect.TypeFor[fleet.Bridle](), "SpareLine": reflect.TypeFor[fleet.SpareLine](), "DesignStorm": reflect.TypeFor[fleet.DesignStorm](),
		"Fix": reflect.TypeFor[fleet.Fix](), "ObservedDrift": reflect.TypeFor[fleet.Drift](), "Photograph": reflect.TypeFor[fleet.Photograph](),
	} {
		got, want := namesOf(kind), slices.Sorted(keysOf(schemas[name].Value.Properties))
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Errorf("%s: fleet has\n%q, the contract\n%q", name, got, want)
		}
	}
}

func keysOf(properties openapi3.Schemas) func(func(string) bool) {
	return func(yield func(string) bool) {
		for name := range properties {
			if !yield(name) {
				return
			}
		}
	}
}

// namesOf lists the JSON names of a struct's fields.
func namesOf(s reflect.Type) (names []string) {
	for i := range s.NumField() {
		f := s.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		switch {
		case name != "":
			names = append(names, name)
		case f.Anonymous:
			names = append(names, namesOf(f.Type)...)
		}
	}
	return names
}
