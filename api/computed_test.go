package api_test

import (
	"encoding/json"
	"os"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"rideout/api"
	"rideout/service/planner"
)

// A plan that was really computed, and its working, fit the contract.
func TestComputedPlanFitsTheContract(t *testing.T) {
	t.Parallel()
	body, err := os.ReadFile("../testdata/golden/requests/kestrel.json")
	if err != nil {
		t.Fatal(err)
	}
	for name, drop := range map[string]string{"as sent": "", "nothing carried": "gear"} {
		var tree map[string]any
		if err := json.Unmarshal(body, &tree); err != nil {
			t.Fatal(err)
		}
		delete(tree, drop)
		sent, err := json.Marshal(tree)
		if err != nil {
			t.Fatal(err)
		}
		req, err := api.DecodePlan(sent)
		if err != nil {
			t.Fatal(err)
		}
		plan, working, err := planner.Compute(t.Context(), req)
		if err != nil {
			t.Fatal(err)
		}
		plan.InputSHA256 = "0000000000000000000000000000000000000000000000000000000000000000"
		schemas := theContract().Components.Schemas
		if err := schemas["Plan"].Value.VisitJSON(asTree(t, plan), openapi3.MultiErrors()); err != nil {
			t.Errorf("%s: the plan does not fit its schema: %v", name, err)
		}
		for _, step := range working {
			if err := schemas["WorkingStep"].Value.VisitJSON(asTree(t, step), openapi3.MultiErrors()); err != nil {
				t.Errorf("%s: a step of the working does not fit its schema: %v", name, err)
			}
		}
	}
}
