package fleet

import (
	"strings"
	"time"

	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/physics/wind"
	"rideout/service/planner"
)

// Particulars is the hull and what stands on it, in the form a plan's body has them.
type Particulars struct {
	Name           string        `json:"name"`
	Hull           hull.Kind     `json:"hull"`
	LOAM           float64       `json:"loa_m"`
	LWLM           float64       `json:"lwl_m,omitempty"`
	BeamM          float64       `json:"beam_m"`
	DraughtM       float64       `json:"draught_m"`
	FreeboardM     float64       `json:"freeboard_m,omitempty"`
	DisplacementKg float64       `json:"displacement_kg"`
	Windage        []Windage     `json:"windage,omitempty"`
	StrongPoints   []StrongPoint `json:"strong_points,omitempty"`
	DesignCategory string        `json:"design_category,omitempty"`
	WindlassPullN  float64       `json:"windlass_pull_n,omitempty"`
	CallSign       string        `json:"call_sign,omitempty"`
	MMSI           string        `json:"mmsi,omitempty"`
}

// Windage is one part above the water.
type Windage struct {
	Part             string   `json:"part"`
	FrontalAreaM2    float64  `json:"frontal_area_m2"`
	LateralAreaM2    float64  `json:"lateral_area_m2"`
	CentreHeightM    float64  `json:"centre_height_m"`
	CentreFromBowM   float64  `json:"centre_from_bow_m"`
	ShapeCoefficient *float64 `json:"shape_coefficient,omitempty"` // nil: 1
}

// StrongPoint is one point a line can be made fast to.
type StrongPoint struct {
	Name         string  `json:"name"`
	FromBowM     float64 `json:"from_bow_m"`
	OffCentreM   float64 `json:"off_centre_m"`
	WorkingLoadN float64 `json:"working_load_n,omitempty"`
}

// Planned gives the vessel as the planner takes her.
func (p Particulars) Planned() planner.Vessel {
	v := planner.Vessel{
		Name: p.Name, Hull: p.Hull, LOAM: p.LOAM, LWLM: p.LWLM, BeamM: p.BeamM, DraughtM: p.DraughtM,
		FreeboardM: p.FreeboardM, DisplacementKg: p.DisplacementKg, DesignCategory: p.DesignCategory,
		WindlassPullN: p.WindlassPullN, CallSign: p.CallSign, MMSI: p.MMSI,
	}
	for _, w := range p.Windage {
		part := wind.Part{
			Name: w.Part, FrontalAreaM2: w.FrontalAreaM2, LateralAreaM2: w.LateralAreaM2,
			CentreHeightM: w.CentreHeightM, CentreFromBowM: w.CentreFromBowM, ShapeCoefficient: 1,
		}
		if w.ShapeCoefficient != nil {
			part.ShapeCoefficient = *w.ShapeCoefficient
		}
		v.Windage = append(v.Windage, part)
	}
	for _, s := range p.StrongPoints {
		v.StrongPoints = append(v.StrongPoints, planner.StrongPoint(s))
	}
	return v
}

// plannersProblems gives what the planner says of a vessel and gear, told as of a body of its own: what it says
// under from is moved to to. The rest of the request is a drill in settled weather, with which nothing is wrong.
func plannersProblems(v planner.Vessel, g *planner.Gear, from, to string) []planner.Problem {
	var found []planner.Problem
	for _, p := range planner.Validate(planner.Request{
		Vessel: v, Gear: g, Intent: planner.Drill,
		Forecast: planner.Forecast{Steps: []planner.Step{{Time: time.Unix(0, 0), WindMS: quantity.MetresPerSecond(10)}}},
	}) {
		if rest, ok := strings.CutPrefix(p.Pointer, from); ok {
			p.Pointer = to + rest
			found = append(found, p)
		}
	}
	return found
}
