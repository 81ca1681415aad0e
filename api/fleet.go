package api

import (
	"context"

	"github.com/google/uuid"

	"rideout/service/fleet"
)

// The routes of the book. Each names its kind; book.go does the same for all.

func (h handlers) RegisterVessel(ctx context.Context, r RegisterVesselRequestObject) (RegisterVesselResponseObject, error) {
	return h.add(ctx, fleet.KindVessel, "/v1/vessels", uuid.Nil, addParams(r.Params), r.Body)
}

func (h handlers) ListVessels(ctx context.Context, r ListVesselsRequestObject) (ListVesselsResponseObject, error) {
	return h.list(ctx, fleet.KindVessel, "/v1/vessels", uuid.Nil, listParams(r.Params))
}

func (h handlers) GetVessel(ctx context.Context, r GetVesselRequestObject) (GetVesselResponseObject, error) {
	return h.get(ctx, fleet.KindVessel, r.Id, asOfParams(r.Params))
}

func (h handlers) ChangeVessel(ctx context.Context, r ChangeVesselRequestObject) (ChangeVesselResponseObject, error) {
	return h.change(ctx, fleet.KindVessel, r.Id, changeParams(r.Params), r.Body)
}

func (h handlers) RegisterGear(ctx context.Context, r RegisterGearRequestObject) (RegisterGearResponseObject, error) {
	return h.add(ctx, fleet.KindGear, "/v1/vessels/"+r.Id.String()+"/gear", r.Id, addParams(r.Params), r.Body)
}

func (h handlers) ListGear(ctx context.Context, r ListGearRequestObject) (ListGearResponseObject, error) {
	return h.list(ctx, fleet.KindGear, "/v1/vessels/"+r.Id.String()+"/gear", r.Id, listParams(r.Params))
}

func (h handlers) GetGear(ctx context.Context, r GetGearRequestObject) (GetGearResponseObject, error) {
	return h.get(ctx, fleet.KindGear, r.Id, asOfParams(r.Params))
}

func (h handlers) ChangeGear(ctx context.Context, r ChangeGearRequestObject) (ChangeGearResponseObject, error) {
	return h.change(ctx, fleet.KindGear, r.Id, changeParams(r.Params), r.Body)
}

func (h handlers) RecordInspection(ctx context.Context, r RecordInspectionRequestObject) (RecordInspectionResponseObject, error) {
	return h.add(ctx, fleet.KindInspection, "/v1/gear/"+r.Id.String()+"/inspections", r.Id, addParams(r.Params), r.Body)
}

func (h handlers) ListInspections(ctx context.Context, r ListInspectionsRequestObject) (ListInspectionsResponseObject, error) {
	return h.list(ctx, fleet.KindInspection, "/v1/gear/"+r.Id.String()+"/inspections", r.Id, listParams(r.Params))
}

func (h handlers) GetInspection(ctx context.Context, r GetInspectionRequestObject) (GetInspectionResponseObject, error) {
	return h.get(ctx, fleet.KindInspection, r.Id, asOfParams(r.Params))
}

func (h handlers) ChangeInspection(ctx context.Context, r ChangeInspectionRequestObject) (ChangeInspectionResponseObject, error) {
	return h.change(ctx, fleet.KindInspection, r.Id, changeParams(r.Params), r.Body)
}

func (h handlers) RecordDrill(ctx context.Context, r RecordDrillRequestObject) (RecordDrillResponseObject, error) {
	return h.add(ctx, fleet.KindDrill, "/v1/vessels/"+r.Id.String()+"/drills", r.Id, addParams(r.Params), r.Body)
}

func (h handlers) ListDrills(ctx context.Context, r ListDrillsRequestObject) (ListDrillsResponseObject, error) {
	return h.list(ctx, fleet.KindDrill, "/v1/vessels/"+r.Id.String()+"/drills", r.Id, listParams(r.Params))
}

func (h handlers) GetDrill(ctx context.Context, r GetDrillRequestObject) (GetDrillResponseObject, error) {
	return h.get(ctx, fleet.KindDrill, r.Id, asOfParams(r.Params))
}

func (h handlers) ChangeDrill(ctx context.Context, r ChangeDrillRequestObject) (ChangeDrillResponseObject, error) {
	return h.change(ctx, fleet.KindDrill, r.Id, changeParams(r.Params), r.Body)
}

func (h handlers) GetPolicy(ctx context.Context, r GetPolicyRequestObject) (GetPolicyResponseObject, error) {
	return h.get(ctx, fleet.KindPolicy, org(ctx), asOfParams(r.Params))
}

func (h handlers) PutPolicy(ctx context.Context, r PutPolicyRequestObject) (PutPolicyResponseObject, error) {
	return h.put(ctx, fleet.KindPolicy, org(ctx), changeParams(r.Params), r.Body)
}

func (h handlers) RecordDeployment(ctx context.Context, r RecordDeploymentRequestObject) (RecordDeploymentResponseObject, error) {
	return h.add(ctx, fleet.KindDeployment, "/v1/plans/"+r.Id.String()+"/deployments", r.Id, addParams(r.Params), r.Body)
}

func (h handlers) ListDeployments(ctx context.Context, r ListDeploymentsRequestObject) (ListDeploymentsResponseObject, error) {
	return h.list(ctx, fleet.KindDeployment, "/v1/plans/"+r.Id.String()+"/deployments", r.Id, listParams(r.Params))
}

func (h handlers) GetDeployment(ctx context.Context, r GetDeploymentRequestObject) (GetDeploymentResponseObject, error) {
	return h.get(ctx, fleet.KindDeployment, r.Id, asOfParams(r.Params))
}

func (h handlers) ChangeDeployment(ctx context.Context, r ChangeDeploymentRequestObject) (ChangeDeploymentResponseObject, error) {
	return h.change(ctx, fleet.KindDeployment, r.Id, changeParams(r.Params), r.Body)
}

func (h handlers) RecordObservation(ctx context.Context, r RecordObservationRequestObject) (RecordObservationResponseObject, error) {
	return h.add(ctx, fleet.KindObservation, "/v1/deployments/"+r.Id.String()+"/observations", r.Id, addParams(r.Params), r.Body)
}

func (h handlers) ListObservations(ctx context.Context, r ListObservationsRequestObject) (ListObservationsResponseObject, error) {
	return h.list(ctx, fleet.KindObservation, "/v1/deployments/"+r.Id.String()+"/observations", r.Id, listParams(r.Params))
}

func (h handlers) GetObservation(ctx context.Context, r GetObservationRequestObject) (GetObservationResponseObject, error) {
	return h.get(ctx, fleet.KindObservation, r.Id, asOfParams(r.Params))
}

func (h handlers) ChangeObservation(ctx context.Context, r ChangeObservationRequestObject) (ChangeObservationResponseObject, error) {
	return h.change(ctx, fleet.KindObservation, r.Id, changeParams(r.Params), r.Body)
}

func (h handlers) GetRetrieval(ctx context.Context, r GetRetrievalRequestObject) (GetRetrievalResponseObject, error) {
	return h.get(ctx, fleet.KindRetrieval, r.Id, asOfParams(r.Params))
}

func (h handlers) PutRetrieval(ctx context.Context, r PutRetrievalRequestObject) (PutRetrievalResponseObject, error) {
	return h.put(ctx, fleet.KindRetrieval, r.Id, changeParams(r.Params), r.Body)
}

func (h handlers) RecordIncident(ctx context.Context, r RecordIncidentRequestObject) (RecordIncidentResponseObject, error) {
	return h.add(ctx, fleet.KindIncident, "/v1/incidents", uuid.Nil, addParams(r.Params), r.Body)
}

func (h handlers) ListIncidents(ctx context.Context, r ListIncidentsRequestObject) (ListIncidentsResponseObject, error) {
	p := r.Params
	return h.list(ctx, fleet.KindIncident, "/v1/incidents", or(p.VesselId, uuid.Nil), listParams{ValidAt: p.ValidAt, KnownAt: p.KnownAt, Limit: p.Limit, Cursor: p.Cursor})
}

func (h handlers) GetIncident(ctx context.Context, r GetIncidentRequestObject) (GetIncidentResponseObject, error) {
	return h.get(ctx, fleet.KindIncident, r.Id, asOfParams(r.Params))
}

func (h handlers) ChangeIncident(ctx context.Context, r ChangeIncidentRequestObject) (ChangeIncidentResponseObject, error) {
	return h.change(ctx, fleet.KindIncident, r.Id, changeParams(r.Params), r.Body)
}
