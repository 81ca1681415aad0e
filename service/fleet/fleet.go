// Package fleet is what an organisation's book holds: vessels, gear, inspections, drills, the policy, and
// what was done and seen at sea. It says what each may be and how it is checked; how versions of it are
// kept is package service's.
//
// The JSON of these types is the contract's form, because it is what is kept and answered to the byte. For
// the planner, vessel and gear turn themselves into its types.
package fleet

import (
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"rideout/service/planner"
)

// Kind names a kind of thing in the book.
type Kind string

// The kinds. The zero value is not one of them.
const (
	KindVessel      Kind = "vessel"
	KindGear        Kind = "gear"
	KindInspection  Kind = "inspection"
	KindDrill       Kind = "drill"
	KindPolicy      Kind = "policy"
	KindDeployment  Kind = "deployment"
	KindObservation Kind = "observation"
	KindRetrieval   Kind = "retrieval"
	KindIncident    Kind = "incident"
)

// KindPlan names plans where the book refers to one. Plans are kept apart: they have no versions.
const KindPlan Kind = "plan"

// KindForecast names forecasts for areas where the log tells of one. They are kept apart, too.
const KindForecast Kind = "forecast"

// Entity is the attributes of one thing of the book.
type Entity interface {
	// Settle fills in what follows from the rest. It is called before Check.
	Settle()
	// Check returns everything that is wrong and no schema sees, nil if nothing is.
	Check(now time.Time) []planner.Problem
	// Refs are the things it names, which must exist.
	Refs() []Ref
	// Vessel is the vessel it is listed under; none is uuid.Nil.
	Vessel() uuid.UUID
	// PutUnder tells it what it belongs to: the gear of an inspection, the plan of a deployment.
	PutUnder(id uuid.UUID)
	// At is when it happened; the zero time for what lasts, such as a vessel.
	At() time.Time
}

// Ref is a thing named by a member of the body.
type Ref struct {
	Pointer string
	Kind    Kind
	ID      uuid.UUID
}

// Description is what the book needs to know of a kind.
type Description struct {
	Kind    Kind
	Words   string   // "gear item", for people
	Path    string   // of one of them: Path + "/" + id
	Under   Kind     // what each belongs to for good; empty: nothing
	Settled []string // members that Settle or PutUnder give and nobody sends
	New     func() Entity
}

var descriptions = []Description{
	{KindVessel, "vessel", "/v1/vessels", "", nil, func() Entity { return &Vessel{} }},
	{KindGear, "gear item", "/v1/gear", "", nil, func() Entity { return &GearItem{} }},
	{KindInspection, "inspection", "/v1/inspections", KindGear, []string{"gear_id"}, func() Entity { return &Inspection{} }},
	{KindDrill, "drill", "/v1/drills", KindVessel, []string{"vessel_id"}, func() Entity { return &Drill{} }},
	{KindPolicy, "policy", "/v1/policy", "", nil, func() Entity { p := DefaultPolicy(); return &p }},
	{KindDeployment, "deployment", "/v1/deployments", KindPlan, []string{"plan_id"}, func() Entity { return &Deployment{} }},
	{KindObservation, "observation", "/v1/observations", KindDeployment, []string{"deployment_id", "drift"}, func() Entity { return &Observation{} }},
	{KindRetrieval, "retrieval", "/v1/deployments", KindDeployment, []string{"deployment_id"}, func() Entity { return &Retrieval{} }},
	{KindIncident, "incident note", "/v1/incidents", "", nil, func() Entity { return &Incident{} }},
}

// Describe gives what is known of a kind. It panics on a kind there is not.
func Describe(kind Kind) Description {
	i := slices.IndexFunc(descriptions, func(d Description) bool { return d.Kind == kind })
	if i < 0 {
		panic(fmt.Sprintf("no kind %q", string(kind)))
	}
	return descriptions[i]
}

// Kinds lists the kinds kept in versions.
func Kinds() []Kind {
	kinds := make([]Kind, len(descriptions))
	for i, d := range descriptions {
		kinds[i] = d.Kind
	}
	return kinds
}

// lasting is what things that last, belong to nothing and follow from nothing have in common.
type lasting struct{}

func (lasting) Settle()            {}
func (lasting) PutUnder(uuid.UUID) {}
func (lasting) At() time.Time      { return time.Time{} }
