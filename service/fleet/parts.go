package fleet

import (
	"rideout/service/physics/canopy"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
	"rideout/service/planner"
)

// The parts of a set, each in the form a plan's body has it.
type (
	// Canopy is the parachute.
	Canopy struct {
		Shape     canopy.Shape `json:"shape"`
		DiameterM float64      `json:"diameter_m"`
	}
	// Rode is the line from the vessel to the canopy.
	Rode struct {
		Construction rode.Construction  `json:"construction"`
		DiameterMM   float64            `json:"diameter_mm"`
		LengthM      float64            `json:"length_m"`
		Terminations []rode.Termination `json:"terminations,omitempty"`
		BreakingN    float64            `json:"breaking_load_n,omitempty"`
		AgeYears     *float64           `json:"age_years,omitempty"`    // nil: 0, of a registered rode from its first use
		ChafedShare  *float64           `json:"chafed_share,omitempty"` // nil: 0, of a registered rode from its last inspection
		DataSheet    []Reading          `json:"data_sheet,omitempty"`
	}
	// Reading is one point of a maker's curve.
	Reading struct {
		Stretch float64 `json:"stretch"`
		LoadN   float64 `json:"load_n"`
	}
	// Shackle is one shackle.
	Shackle struct {
		BodyMM       float64 `json:"body_mm"`
		WorkingLoadN float64 `json:"working_load_n,omitempty"`
		OffLineDeg   float64 `json:"off_line_deg,omitempty"`
	}
	// Swivel is one swivel.
	Swivel struct {
		WorkingLoadN float64 `json:"working_load_n"`
	}
	// Chain is a length of chain at the canopy's end.
	Chain struct {
		SizeMM  float64 `json:"size_mm"`
		Grade   int     `json:"grade"`
		LengthM float64 `json:"length_m"`
	}
	// TripLine collapses the canopy.
	TripLine struct {
		LengthM    float64 `json:"length_m"`
		DiameterMM float64 `json:"diameter_mm,omitempty"`
	}
	// Float carries the trip line's end.
	Float struct {
		BuoyancyN float64 `json:"buoyancy_n"`
	}
	// Bridle is two legs of one rope.
	Bridle struct {
		Construction rode.Construction  `json:"construction"`
		DiameterMM   float64            `json:"diameter_mm"`
		LegM         float64            `json:"leg_m"`
		Terminations []rode.Termination `json:"terminations,omitempty"`
	}
	// SpareLine is a line a temporary bridle leg can be made from.
	SpareLine struct {
		Construction rode.Construction `json:"construction"`
		DiameterMM   float64           `json:"diameter_mm"`
		LengthM      float64           `json:"length_m"`
		Knot         rode.Termination  `json:"knot"`
	}
)

// Set is the gear carried, in the form a plan's body has it.
type Set struct {
	Canopy    *Canopy    `json:"canopy,omitempty"`
	Rode      *Rode      `json:"rode,omitempty"`
	Shackles  []Shackle  `json:"shackles,omitempty"`
	Swivels   []Swivel   `json:"swivels,omitempty"`
	Chain     *Chain     `json:"chain,omitempty"`
	TripLine  *TripLine  `json:"trip_line,omitempty"`
	Float     *Float     `json:"float,omitempty"`
	Bridle    *Bridle    `json:"bridle,omitempty"`
	SpareLine *SpareLine `json:"spare_line,omitempty"`
	ChafeGear bool       `json:"chafe_gear,omitempty"`
}

// Planned gives the set as the planner takes it.
func (s Set) Planned() *planner.Gear {
	g := &planner.Gear{
		Canopy: (*planner.Canopy)(s.Canopy), Chain: (*planner.Chain)(s.Chain), TripLine: (*planner.TripLine)(s.TripLine),
		Float: (*planner.Float)(s.Float), Bridle: (*planner.Bridle)(s.Bridle), Spare: (*planner.Spare)(s.SpareLine), Chafe: s.ChafeGear,
	}
	if s.Rode != nil {
		g.Rode = s.Rode.planned()
	}
	for _, x := range s.Shackles {
		g.Shackles = append(g.Shackles, planner.Shackle{BodyMM: x.BodyMM, WorkingLoadN: x.WorkingLoadN, OffLine: quantity.Degrees(x.OffLineDeg)})
	}
	for _, x := range s.Swivels {
		g.Swivels = append(g.Swivels, planner.Swivel(x))
	}
	return g
}

func (r Rode) planned() *planner.Rode {
	p := &planner.Rode{
		Construction: r.Construction, DiameterMM: r.DiameterMM, LengthM: r.LengthM,
		Terminations: r.Terminations, BreakingN: r.BreakingN,
	}
	if r.AgeYears != nil {
		p.AgeYears = *r.AgeYears
	}
	if r.ChafedShare != nil {
		p.ChafedShare = *r.ChafedShare
	}
	for _, x := range r.DataSheet {
		p.DataSheet = append(p.DataSheet, rode.Point(x))
	}
	return p
}
