package api

import "rideout/openapi"

// Names the generated server takes from the contract's types.
type (
	PlanID           = openapi.PlanID
	CreatePlanParams = openapi.CreatePlanParams
	ListPlansParams  = openapi.ListPlansParams

	GetPlanSheetParams   = openapi.GetPlanSheetParams
	GetPlanDrawingParams = openapi.GetPlanDrawingParams
	GetPlanChangesParams = openapi.GetPlanChangesParams
	GetWhereaboutsParams = openapi.GetWhereaboutsParams

	InUnits        = openapi.InUnits
	IdempotencyKey = openapi.IdempotencyKey
)

// The generated server hands a body to the binder by these names. Both are a planBody, which the
// binder decodes strictly and maps to the domain, so that a body is decoded once.
type (
	CalculateJSONRequestBody  = planBody
	CreatePlanJSONRequestBody = planBody
)

// The book.
type (
	EntityID                = openapi.EntityID
	IfMatch                 = openapi.IfMatch
	GetDeploymentParams     = openapi.GetDeploymentParams
	ChangeDeploymentParams  = openapi.ChangeDeploymentParams
	ListObservationsParams  = openapi.ListObservationsParams
	RecordObservationParams = openapi.RecordObservationParams
	GetRetrievalParams      = openapi.GetRetrievalParams
	PutRetrievalParams      = openapi.PutRetrievalParams
	GetDrillParams          = openapi.GetDrillParams
	ChangeDrillParams       = openapi.ChangeDrillParams
	GetGearParams           = openapi.GetGearParams
	ChangeGearParams        = openapi.ChangeGearParams
	ListInspectionsParams   = openapi.ListInspectionsParams
	RecordInspectionParams  = openapi.RecordInspectionParams
	ListIncidentsParams     = openapi.ListIncidentsParams
	RecordIncidentParams    = openapi.RecordIncidentParams
	GetIncidentParams       = openapi.GetIncidentParams
	ChangeIncidentParams    = openapi.ChangeIncidentParams
	GetInspectionParams     = openapi.GetInspectionParams
	ChangeInspectionParams  = openapi.ChangeInspectionParams
	GetObservationParams    = openapi.GetObservationParams
	ChangeObservationParams = openapi.ChangeObservationParams
	ListDeploymentsParams   = openapi.ListDeploymentsParams
	RecordDeploymentParams  = openapi.RecordDeploymentParams
	GetPolicyParams         = openapi.GetPolicyParams
	PutPolicyParams         = openapi.PutPolicyParams
	ListVesselsParams       = openapi.ListVesselsParams
	RegisterVesselParams    = openapi.RegisterVesselParams
	GetVesselParams         = openapi.GetVesselParams
	ChangeVesselParams      = openapi.ChangeVesselParams
	ListDrillsParams        = openapi.ListDrillsParams
	RecordDrillParams       = openapi.RecordDrillParams
	ListGearParams          = openapi.ListGearParams
	RegisterGearParams      = openapi.RegisterGearParams
)

// Forecasts for areas.
type (
	ReceiveForecastParams          = openapi.ReceiveForecastParams
	ListForecastsParams            = openapi.ListForecastsParams
	ReceiveForecastJSONRequestBody = sentBody
)

// Readiness.
type (
	ListReadinessParams      = openapi.ListReadinessParams
	SummariseReadinessParams = openapi.SummariseReadinessParams
	GetVesselReadinessParams = openapi.GetVesselReadinessParams
)

// Learning.
type (
	GetGearUseParams     = openapi.GetGearUseParams
	GetCalibrationParams = openapi.GetCalibrationParams
)

// Bodies of the book are taken as they are sent; what they are of, the handler knows.
type (
	ChangeDeploymentApplicationMergePatchPlusJSONRequestBody  = sentBody
	RecordObservationJSONRequestBody                          = sentBody
	PutRetrievalJSONRequestBody                               = sentBody
	ChangeDrillApplicationMergePatchPlusJSONRequestBody       = sentBody
	ChangeGearApplicationMergePatchPlusJSONRequestBody        = sentBody
	RecordInspectionJSONRequestBody                           = sentBody
	RecordIncidentJSONRequestBody                             = sentBody
	ChangeIncidentApplicationMergePatchPlusJSONRequestBody    = sentBody
	ChangeInspectionApplicationMergePatchPlusJSONRequestBody  = sentBody
	ChangeObservationApplicationMergePatchPlusJSONRequestBody = sentBody
	RecordDeploymentJSONRequestBody                           = sentBody
	PutPolicyJSONRequestBody                                  = sentBody
	RegisterVesselJSONRequestBody                             = sentBody
	ChangeVesselApplicationMergePatchPlusJSONRequestBody      = sentBody
	RecordDrillJSONRequestBody                                = sentBody
	RegisterGearJSONRequestBody                               = sentBody
)
