package hull_test

import (
	"testing"

	"rideout/service/physics/hull"
	"rideout/service/physics/internal/published"
	"rideout/service/physics/quantity"
	"rideout/service/physics/seaway"
)

func TestPublished(t *testing.T) {
	t.Parallel()
	published.Run(t, "hull", map[string]published.Calc{
		"wetted_surface": func(in published.Inputs) (float64, error) { return given(in).WettedSurfaceM2(), nil },
		"friction_coefficient": func(in published.Inputs) (float64, error) {
			return given(in).FrictionCoefficient(in.Get("speed_m_s")), nil
		},
		"friction": func(in published.Inputs) (float64, error) { return given(in).FrictionN(in.Get("speed_m_s")), nil },
		"drift_upper_bound": func(in published.Inputs) (float64, error) {
			sea, err := seaway.JONSWAP(in.Get("hs_m"), in.Get("tp_s"), 1, grid)
			return hull.WaveDriftN(sea, in.Get("breadth_m"), 1e9, hull.Reflection{HalfLengths: 1e9}) / 1000, err
		},
		"roll_period": func(in published.Inputs) (float64, error) {
			return hull.RollPeriodS(in.Get("beam_m"), in.Get("draught_m"), in.Get("lwl_m"), in.Get("gm_m"))
		},
		"capsize_screening": func(in published.Inputs) (float64, error) {
			return hull.CapsizeScreening(in.Get("beam_ft")*quantity.MetresPerFoot, in.Get("displacement_lb")*quantity.KilogramsPerPound), nil
		},
		"leeway_planing":      leeway(hull.PowerPlaning),
		"leeway_sail":         leeway(hull.SailMonohull),
		"leeway_workboat":     leeway(hull.Workboat),
		"leeway_displacement": leeway(hull.PowerDisplacement),
		"divergence_displacement": func(published.Inputs) (float64, error) {
			return hull.Leeway(hull.PowerDisplacement).Divergence().Degrees(), nil
		},
		"divergence_sail": func(published.Inputs) (float64, error) {
			return hull.Leeway(hull.SailMonohull).Divergence().Degrees(), nil
		},
	})
}

var grid = seaway.Grid{StepRadS: 0.005, Count: 2000}

func given(in published.Inputs) hull.Hull {
	return hull.Hull{
		Kind: hull.SailMonohull, LOAM: in.Get("lwl_m"), LWLM: in.Get("lwl_m"), BeamM: in.Get("beam_m"),
		DraughtM: in.Get("draught_m"), DisplacementKg: in.Get("displacement_kg"),
	}
}

func leeway(k hull.Kind) published.Calc {
	return func(in published.Inputs) (float64, error) { return hull.Leeway(k).Drift(in.Get("wind_m_s")).Mid, nil }
}
