package api

import "rideout/openapi"

// Names the generated server takes from the contract's types.
type (
	PlanID               = openapi.PlanID
	InUnits              = openapi.InUnits
	CreatePlanParams     = openapi.CreatePlanParams
	ListPlansParams      = openapi.ListPlansParams
	GetPlanSheetParams   = openapi.GetPlanSheetParams
	GetPlanDrawingParams = openapi.GetPlanDrawingParams
	IdempotencyKey       = openapi.IdempotencyKey
)

// The generated server hands a body to the binder by these names. Both are a planBody, which the
// binder decodes strictly and maps to the domain, so that a body is decoded once.
type (
	CalculateJSONRequestBody  = planBody
	CreatePlanJSONRequestBody = planBody
)
