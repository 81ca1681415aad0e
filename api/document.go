package api

import (
	"encoding/json"
	"fmt"
	"net/http"
)

// document is an answer of finished bytes. It stands in for the generated response types, so that a
// plan is answered to the byte as it was stored.
type document struct {
	status int
	kind   string // Content-Type
	header map[string]string
	body   []byte
}

// jsonDocument encodes a value that is made for the answer.
func jsonDocument(value any) (document, error) {
	body, err := json.Marshal(value)
	if err != nil {
		return document{}, fmt.Errorf("encode answer: %w", err)
	}
	return document{status: http.StatusOK, kind: "application/json", body: body}, nil
}

// readAgain lets a caller keep what it has read, and asks it to look whether it still holds.
const readAgain = "private, no-cache"

// read is the answer to a read of one thing, by its bytes.
func read(body []byte) document {
	return document{status: http.StatusOK, kind: "application/json", header: map[string]string{"Cache-Control": readAgain}, body: body}
}

// fresh is the answer to a read of what is made for it.
func fresh(value any) (document, error) {
	d, err := jsonDocument(value)
	d.header = map[string]string{"Cache-Control": readAgain}
	return d, err
}

// unkept is the answer to what was done, or asked for once: nobody on its way may keep it.
func unkept(value any) (document, error) {
	d, err := jsonDocument(value)
	d.header = map[string]string{"Cache-Control": "no-store"}
	return d, err
}

// varied marks an answer whose form Accept chose.
func varied(d document) document {
	d.header["Vary"] = "Accept"
	return d
}

// repeated marks the answer to a request that was answered before under its Idempotency-Key.
func repeated(d document, replayed bool) document {
	if replayed {
		d.header["Idempotency-Replayed"] = "true"
	}
	return d
}

func (d document) write(w http.ResponseWriter) error {
	if d.kind != "" { // else there is no body
		w.Header().Set("Content-Type", d.kind)
	}
	for name, value := range d.header {
		w.Header().Set(name, value)
	}
	w.WriteHeader(d.status)
	_, err := w.Write(d.body)
	return err
}

func (d document) VisitCalculateResponse(w http.ResponseWriter) error      { return d.write(w) }
func (d document) VisitCreatePlanResponse(w http.ResponseWriter) error     { return d.write(w) }
func (d document) VisitListPlansResponse(w http.ResponseWriter) error      { return d.write(w) }
func (d document) VisitGetPlanResponse(w http.ResponseWriter) error        { return d.write(w) }
func (d document) VisitGetPlanWorkingResponse(w http.ResponseWriter) error { return d.write(w) }
func (d document) VisitGetPlanSheetResponse(w http.ResponseWriter) error   { return d.write(w) }
func (d document) VisitGetPlanDrawingResponse(w http.ResponseWriter) error { return d.write(w) }
func (d document) VisitGetLivenessResponse(w http.ResponseWriter) error    { return d.write(w) }
func (d document) VisitGetReadinessResponse(w http.ResponseWriter) error   { return d.write(w) }
func (d document) VisitGetContractResponse(w http.ResponseWriter) error    { return d.write(w) }
func (d document) VisitGetDocsResponse(w http.ResponseWriter) error        { return d.write(w) }
func (d document) VisitGetGuideResponse(w http.ResponseWriter) error       { return d.write(w) }

// The book.
func (d document) VisitGetDeploymentResponse(w http.ResponseWriter) error     { return d.write(w) }
func (d document) VisitChangeDeploymentResponse(w http.ResponseWriter) error  { return d.write(w) }
func (d document) VisitListObservationsResponse(w http.ResponseWriter) error  { return d.write(w) }
func (d document) VisitRecordObservationResponse(w http.ResponseWriter) error { return d.write(w) }
func (d document) VisitGetRetrievalResponse(w http.ResponseWriter) error      { return d.write(w) }
func (d document) VisitPutRetrievalResponse(w http.ResponseWriter) error      { return d.write(w) }
func (d document) VisitGetDrillResponse(w http.ResponseWriter) error          { return d.write(w) }
func (d document) VisitChangeDrillResponse(w http.ResponseWriter) error       { return d.write(w) }
func (d document) VisitGetGearResponse(w http.ResponseWriter) error           { return d.write(w) }
func (d document) VisitChangeGearResponse(w http.ResponseWriter) error        { return d.write(w) }
func (d document) VisitListInspectionsResponse(w http.ResponseWriter) error   { return d.write(w) }
func (d document) VisitRecordInspectionResponse(w http.ResponseWriter) error  { return d.write(w) }
func (d document) VisitListIncidentsResponse(w http.ResponseWriter) error     { return d.write(w) }
func (d document) VisitRecordIncidentResponse(w http.ResponseWriter) error    { return d.write(w) }
func (d document) VisitGetIncidentResponse(w http.ResponseWriter) error       { return d.write(w) }
func (d document) VisitChangeIncidentResponse(w http.ResponseWriter) error    { return d.write(w) }
func (d document) VisitGetInspectionResponse(w http.ResponseWriter) error     { return d.write(w) }
func (d document) VisitChangeInspectionResponse(w http.ResponseWriter) error  { return d.write(w) }
func (d document) VisitGetObservationResponse(w http.ResponseWriter) error    { return d.write(w) }
func (d document) VisitChangeObservationResponse(w http.ResponseWriter) error { return d.write(w) }
func (d document) VisitListDeploymentsResponse(w http.ResponseWriter) error   { return d.write(w) }
func (d document) VisitRecordDeploymentResponse(w http.ResponseWriter) error  { return d.write(w) }
func (d document) VisitGetPolicyResponse(w http.ResponseWriter) error         { return d.write(w) }
func (d document) VisitPutPolicyResponse(w http.ResponseWriter) error         { return d.write(w) }
func (d document) VisitListVesselsResponse(w http.ResponseWriter) error       { return d.write(w) }
func (d document) VisitRegisterVesselResponse(w http.ResponseWriter) error    { return d.write(w) }
func (d document) VisitGetVesselResponse(w http.ResponseWriter) error         { return d.write(w) }
func (d document) VisitChangeVesselResponse(w http.ResponseWriter) error      { return d.write(w) }
func (d document) VisitListDrillsResponse(w http.ResponseWriter) error        { return d.write(w) }
func (d document) VisitRecordDrillResponse(w http.ResponseWriter) error       { return d.write(w) }
func (d document) VisitListGearResponse(w http.ResponseWriter) error          { return d.write(w) }
func (d document) VisitRegisterGearResponse(w http.ResponseWriter) error      { return d.write(w) }
