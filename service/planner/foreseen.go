package planner

import (
	"math"
	"slices"
	"time"

	"rideout/service/physics/quantity"
)

// PhaseWear is what lying to it in a phase costs the rode.
type PhaseWear struct {
	Name    string `json:"name"` // calm, strong_wind, gale, storm
	Spans   []Span `json:"spans"`
	PerHour Band   `json:"fatigue_share_per_hour"`
}

// WearOf takes from a plan what lying under it costs the rode. A phase's fatigue share is the damage of an hour of its
// worst step, by the records of the study, times the phase's hours: so every hour of a phase costs the same, which is
// what its worst one does.
func WearOf(p Plan) []PhaseWear {
	wear := []PhaseWear{}
	for _, phase := range p.Phases {
		hours := 0.0
		for _, s := range phase.Spans {
			hours += s.Until.Sub(s.From).Hours()
		}
		if hours <= 0 {
			continue
		}
		wear = append(wear, PhaseWear{phase.Name, phase.Spans, phase.FatigueShare.Scale(1 / hours)})
	}
	return wear
}

// Foreseen is what a plan says of the hours she lies to it, to be held against what is then observed.
type Foreseen struct {
	CanopyShape string         `json:"canopy_shape"` // of the canopy the plan is computed for
	CanopyM     float64        `json:"canopy_m"`
	HeadingDeg  float64        `json:"heading_off_wind_deg"`
	Assumed     []string       `json:"assumed,omitempty"` // values the request gave that calibration is about
	Windage     float64        `json:"windage_factor"`    // the plan was made with; 1: none
	Drag        float64        `json:"drag_factor"`
	Hours       []ForeseenHour `json:"hours"` // none: the plan has no sea room
}

// ForeseenHour is one step of the forecast, from its begin for its hours. Drift is through the water, at the middle of
// the band.
type ForeseenHour struct {
	From       time.Time `json:"from"`
	Hours      float64   `json:"hours"`
	WindKt     float64   `json:"wind_kt"`
	HsM        *float64  `json:"hs_m,omitempty"` // nil: the forecast did not give it
	DriftKt    float64   `json:"drift_kt"`
	MeanN      float64   `json:"mean_n"`
	CurrentKt  float64   `json:"current_kt"`
	CurrentDeg float64   `json:"current_toward_deg"`
	Given      bool      `json:"current_given"` // the current was in the forecast; else it was estimated
}

// Until is when the hour ends.
func (h ForeseenHour) Until() time.Time { return h.From.Add(inHours(h.Hours)) }

// ForeseenBy takes from a plan and its request what to hold against observations.
//
// The mean load is kept for the worst step of a phase alone. That of another step is taken as the phase's times the square
// of the ratio of their drifts, because the load is the canopy's drag, which goes with the square of its speed through the
// water (the definition of Cd0).
func ForeseenBy(p Plan, r Request) Foreseen {
	f := Foreseen{
		CanopyShape: p.Canopy.Shape, CanopyM: p.Canopy.UsedDiameterM, HeadingDeg: lyingHeading(r, &book{}).Degrees(),
		Assumed: r.Assume.ofForces(), Windage: 1, Drag: 1, Hours: []ForeseenHour{},
	}
	if c := r.Calibration; c.applies() {
		f.Windage, f.Drag = c.Windage.Mid, c.Drag.Mid
	}
	if p.SeaRoom == nil {
		return f
	}
	for i, leg := range p.SeaRoom.Legs {
		h := ForeseenHour{From: leg.From, Hours: leg.Hours, DriftKt: leg.SpeedKt.Mid, CurrentKt: leg.CurrentKt, CurrentDeg: leg.CurrentDeg}
		if i < len(r.Forecast.Steps) { // a leg for each step, in their order
			s := r.Forecast.Steps[i]
			h.WindKt, h.HsM, h.Given = quantity.Knots(s.WindMS), s.HsM, s.CurrentToward != nil
		}
		if phase := phaseAt(p.Phases, leg.From); phase != nil && phase.Loads.DriftKt.Mid > 0 {
			h.MeanN = phase.Loads.MeanN.Mid * math.Pow(h.DriftKt/phase.Loads.DriftKt.Mid, 2)
		}
		f.Hours = append(f.Hours, h)
	}
	return f
}

// ofForces names the values given that take the place of what calibration is about, or of what it is told by.
func (a Assume) ofForces() (names []string) {
	for _, v := range []struct {
		name  string
		given *float64
	}{
		{"canopy_cd0", a.CanopyCd0}, {"wind_force_n", a.WindForceN}, {"wave_drift_share", a.WaveDriftShare}, {"hull_drag_area_m2", a.HullDragAreaM2},
	} {
		if v.given != nil {
			names = append(names, v.name)
		}
	}
	return names
}

func phaseAt(phases []Phase, at time.Time) *Phase {
	i := slices.IndexFunc(phases, func(p Phase) bool {
		return slices.ContainsFunc(p.Spans, func(s Span) bool { return !at.Before(s.From) && at.Before(s.Until) })
	})
	if i < 0 {
		return nil
	}
	return &phases[i]
}
