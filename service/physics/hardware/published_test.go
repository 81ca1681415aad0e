package hardware_test

import (
	"testing"

	"rideout/service/physics/hardware"
	"rideout/service/physics/internal/published"
	"rideout/service/physics/quantity"
)

func shackleT(in published.Inputs) (float64, error) {
	n, _, err := hardware.ShackleWLLN(in.Get("body_mm"))
	return n / quantity.NewtonsPerKilogramF / 1000, err
}

func legShare(in published.Inputs) (float64, error) {
	return hardware.LegShare(quantity.Degrees(in.Get("half_angle_deg")))
}

func strongPointKN(in published.Inputs) (float64, error) {
	duty := []hardware.Duty{hardware.AnchorOrTow, hardware.ForwardMooring, hardware.AftMooring}[int(in.Get("duty_number"))]
	category := []hardware.Category{hardware.CategoryA, hardware.CategoryB, hardware.CategoryC, hardware.CategoryD}[int(in.Get("category_number"))]
	n, err := hardware.StrongPointN(duty, category, in.Get("lc_m"), in.Get("loaded_kg"))
	return n / 1000, err
}

func TestPublished(t *testing.T) {
	t.Parallel()
	published.Run(t, "hardware", map[string]published.Calc{
		"shackle_t": shackleT,
		"side_load": func(in published.Inputs) (float64, error) {
			return hardware.SideLoadFactor(quantity.Degrees(in.Get("angle_deg")))
		},
		"chain_lbf": func(in published.Inputs) (float64, error) {
			n, err := hardware.ChainWLLN(in.Get("size_in")*25.4, hardware.Grade(in.Get("grade")))
			return n / quantity.NewtonsPerPoundForce, err
		},
		"chain_break": func(in published.Inputs) (float64, error) {
			return hardware.ChainBreakN(in.Get("size_mm"), in.Get("grade_n_mm2"))
		},
		"leg_share": legShare,
		"leg_lbf": func(in published.Inputs) (float64, error) {
			share, err := legShare(in)
			return share * in.Get("load_lbf"), err
		},
		"drogue_kn": func(in published.Inputs) (float64, error) {
			n, err := hardware.DrogueDesignLoadN(in.Get("displacement_lb") * quantity.KilogramsPerPound)
			return n / 1000, err
		},
		"strong_point_kn": strongPointKN,
		"rope_within": func(in published.Inputs) (float64, error) {
			_, within, err := hardware.RopeOnStrongPoint(in.Get("rope_n"), in.Get("strong_point_n"))
			if within {
				return 1, err
			}
			return 0, err
		},
		"rope_factor": func(published.Inputs) (float64, error) { return hardware.DefaultPolicy().RopeFactor, nil },
	})
}

func TestDerived(t *testing.T) {
	t.Parallel()
	published.Run(t, "hardware_derived", map[string]published.Calc{
		"leg_share":       legShare,
		"strong_point_kn": strongPointKN,
		"shackle_t":       shackleT,
		"rope_use": func(in published.Inputs) (float64, error) {
			parts, err := hardware.Chain([]hardware.Link{hardware.Rode("rode", strength(in.Get("as_used_n")))}, in.Get("demand_n"), hardware.DefaultPolicy())
			if err != nil {
				return 0, err
			}
			return parts[0].Use, nil
		},
	})
}
