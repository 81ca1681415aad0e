package api

import (
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/getkin/kin-openapi/openapi3"

	"rideout/service"
	"rideout/service/fleet"
)

// schemaOf names the contract's schema of each kind.
var schemaOf = map[fleet.Kind]string{
	fleet.KindVessel: "VesselRecord", fleet.KindGear: "GearRecord", fleet.KindInspection: "InspectionRecord", fleet.KindDrill: "DrillRecord",
	fleet.KindPolicy: "PolicyRecord", fleet.KindDeployment: "DeploymentRecord", fleet.KindObservation: "ObservationRecord",
	fleet.KindRetrieval: "RetrievalRecord", fleet.KindIncident: "IncidentRecord",
}

// decodeEntity reads the attributes of a thing of the book. The error of a refused body is a *service.Error of kind
// invalid that names every wrong field: of the JSON, the contract and the domain, as far as each stage could be run
// on what the earlier ones left readable.
func decodeEntity(kind fleet.Kind, body []byte, now time.Time) (fleet.Entity, error) {
	doc, err := contract()
	if err != nil {
		return nil, err
	}
	tree, problems, ok := scan(body)
	if !ok {
		return nil, refusal(problems)
	}
	found := check(doc.Components.Schemas[schemaOf[kind]].Value, tree, openapi3.VisitAsRequest())
	for _, f := range found {
		problems = append(problems, f.FieldError)
	}
	members, isObject := tree.(map[string]any)
	if !isObject {
		return nil, refusal(problems)
	}
	entity, more, err := checkedEntity(kind, members, found, now)
	if err != nil {
		return nil, err
	}
	if problems = unique(append(problems, more...)); len(problems) > 0 {
		return nil, refusal(problems)
	}
	return entity, nil
}

// checkedEntity reads the members that can be read and gives what the domain says of them. What it says of a member
// that the contract refused is left out. A vessel's measures are judged by each other, so with one of them wrong her
// numbers alone are judged.
func checkedEntity(kind fleet.Kind, members map[string]any, found []finding, now time.Time) (fleet.Entity, []service.FieldError, error) {
	broken := map[string]bool{}
	for _, f := range found {
		broken[section(f.Pointer)] = true
		delete(members, section(f.Pointer))
	}
	readable, err := json.Marshal(members)
	if err != nil {
		return nil, nil, fmt.Errorf("write the body anew: %w", err)
	}
	entity := fleet.Describe(kind).New()
	if err := json.Unmarshal(readable, entity); err != nil {
		return nil, nil, fmt.Errorf("read a checked body: %w", err)
	}
	entity.Settle()
	var problems []service.FieldError
	for _, p := range entity.Check(now) {
		at := section(p.Pointer)
		ofNumbers := slices.Contains([]string{"mmsi", "imo", "call_sign"}, at)
		if !broken[at] && (kind != fleet.KindVessel || len(broken) == 0 || ofNumbers) {
			problems = append(problems, service.FieldError(p))
		}
	}
	return entity, problems, nil
}

// decodeAs reads a body strictly as a schema of the contract, and names every wrong field.
func decodeAs(schema string, body []byte, into any) error {
	doc, err := contract()
	if err != nil {
		return err
	}
	tree, problems, ok := scan(body)
	if ok {
		for _, f := range check(doc.Components.Schemas[schema].Value, tree) {
			problems = append(problems, f.FieldError)
		}
	}
	if len(problems) > 0 {
		return refusal(problems)
	}
	readable, err := json.Marshal(tree) // 1e3 is a whole number, but not to a Go int
	if err != nil {
		return fmt.Errorf("write the body anew: %w", err)
	}
	if err := json.Unmarshal(readable, into); err != nil {
		return fmt.Errorf("read a checked body: %w", err)
	}
	return nil
}
