package api_test

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/physics/quantity"
	"rideout/service/planner"
)

// samplePlan stands in for the computation: a plan with something in every field, the names and the
// first wind speed taken from the request.
func samplePlan(_ context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
	var plan planner.Plan
	fill(reflect.ValueOf(&plan).Elem())
	plan.ID, plan.CreatedAt, plan.Links = "", nil, nil
	plan.VesselName, plan.Intent = r.Vessel.Name, r.Intent
	plan.Canopy.Verdict, plan.Rode.Verdict = "suits", "suits"
	for i := range plan.Phases {
		plan.Phases[i].Name, plan.Phases[i].Breaking[0].Lying = "gale", "bow_to"
		plan.Phases[i].BeaufortForce, plan.Phases[i].SeaStateCode = 9, 6
		plan.Phases[i].WindKt = quantity.Knots(r.Forecast.Steps[0].WindMS)
	}
	plan.Bridle.Arrangement, plan.Bridle.Side, plan.Bridle.Verdict = "two_legs", "port", "holds"
	plan.Hours[0].Action, plan.Hours[0].Light, plan.Hours[0].Verdict = "rig", "day", "in_time"
	plan.Steps[0].Stage, plan.Crew.Roles[0].Role, plan.Crew.Hauling.From = "deploy", "skipper", "windlass"
	plan.SeaRoom.NearestHazard.Kind, plan.SeaRoom.Reached[0].Kind, plan.SeaRoom.LatestToAct[0].Act = "shore", "hazard", "deploy"
	plan.Lying.RodeOutM = 110
	plan.Calibration.Outliers[0].Kind = "drift"
	if r.Calibration == nil {
		plan.Calibration = nil
	}
	var steps []planner.WorkingStep
	fill(reflect.ValueOf(&steps).Elem())
	return plan, steps, nil
}

// fill puts a value into every field, and one item into every list.
func fill(v reflect.Value) {
	switch v.Interface().(type) {
	case json.RawMessage:
		v.Set(reflect.ValueOf(json.RawMessage(`{"type":"FeatureCollection","features":[{}]}`)))
		return
	case time.Time:
		v.Set(reflect.ValueOf(noon))
		return
	case quantity.Band:
		v.Set(reflect.ValueOf(quantity.Band{Low: 1, Mid: 2, High: 4}))
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			fill(v.Field(i))
		}
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 1, 1))
		fill(v.Index(0))
	case reflect.Map:
		v.Set(reflect.ValueOf(map[string]string{"self": "/v1/plans/x"}))
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fill(v.Elem())
	case reflect.String:
		v.SetString("text")
	case reflect.Float64:
		v.SetFloat(0.5)
	case reflect.Int:
		v.SetInt(3)
	case reflect.Bool:
		v.SetBool(true)
	default:
		panic(fmt.Sprintf("no sample for %s", v.Type()))
	}
}

func TestPlanIsTheContractsPlan(t *testing.T) {
	t.Parallel()
	plan, steps, err := samplePlan(t.Context(), planner.Request{Intent: planner.Drill, Calibration: &planner.Calibration{}, Forecast: planner.Forecast{Steps: make([]planner.Step, 1)}})
	if err != nil {
		t.Fatal(err)
	}
	id := uuid.UUID{3}
	at := noon
	plan.ID, plan.CreatedAt, plan.Links, plan.InputSHA256 = id.String(), &at, service.PlanLinks(id), fmt.Sprintf("%064x", 1)
	kept := service.KeptPlan{Plan: plan, VesselID: &id, Supersedes: &id}
	for name, value := range map[string]any{"Plan": kept, "WorkingStep": steps[0]} {
		schema := theContract().Components.Schemas[name].Value
		tree := asTree(t, value)
		if err := schema.VisitJSON(tree, openapi3.MultiErrors()); err != nil {
			t.Errorf("%s does not fit its schema: %v", name, err)
		}
		compareNames(t, name, schema, tree)
	}
}

// compareNames demands that the schema has no field the value lacks.
func compareNames(t *testing.T, at string, schema *openapi3.Schema, value any) {
	t.Helper()
	switch v := value.(type) {
	case []any:
		compareNames(t, at+"[]", schema.Items.Value, v[0])
	case map[string]any:
		for _, name := range slices.Sorted(maps.Keys(schema.Properties)) {
			if inner, ok := v[name]; ok {
				compareNames(t, at+"."+name, schema.Properties[name].Value, inner)
			} else {
				t.Errorf("%s.%s is in the contract but not in the answer", at, name)
			}
		}
	}
}

func asTree(t *testing.T, value any) any {
	t.Helper()
	encoded, err := json.Marshal(value)
	if err != nil {
		t.Fatal(err)
	}
	var tree any
	if err := json.Unmarshal(encoded, &tree); err != nil {
		t.Fatal(err)
	}
	return tree
}
