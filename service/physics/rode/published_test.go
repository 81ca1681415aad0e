package rode_test

import (
	"fmt"
	"testing"

	"rideout/service/physics/constant"
	"rideout/service/physics/internal/published"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
)

func diameterMM(in published.Inputs) float64 { return in.Get("diameter_in") * 25.4 }

func retained(end func(quantity.Band) float64) published.Calc {
	return func(in published.Inputs) (float64, error) {
		b, err := rode.Terminations()[int(in.Get("termination_number"))].Retained()
		return end(b), err
	}
}

// rainflow counts the record p1, p2, ... of a check.
func rainflow(in published.Inputs) ([]rode.Cycle, error) {
	var record []float64
	for i := 1; in.Has(fmt.Sprintf("p%d", i)); i++ {
		record = append(record, in.Get(fmt.Sprintf("p%d", i)))
	}
	return rode.Rainflow(record)
}

func cyclesToBreak(in published.Inputs) (float64, error) {
	return rode.CyclesToBreak(in.Get("range_share"))
}

func TestPublished(t *testing.T) {
	t.Parallel()
	published.Run(t, "rode", map[string]published.Calc{
		"three_strand_lbf": func(in published.Inputs) (float64, error) {
			c, err := rode.BreakingN(rode.ThreeStrand, diameterMM(in))
			return c.Mid / quantity.NewtonsPerPoundForce, err
		},
		"three_strand_lb_per_100ft": func(in published.Inputs) (float64, error) {
			m, err := rode.MassPerMetreKg(rode.ThreeStrand, diameterMM(in))
			return m / quantity.KilogramsPerPound * 100 * quantity.MetresPerFoot, err
		},
		"double_braid_kn": func(in published.Inputs) (float64, error) {
			c, err := rode.BreakingN(rode.DoubleBraid, diameterMM(in))
			return c.Mid / 1000, err
		},
		"double_braid_ae_kn": func(in published.Inputs) (float64, error) {
			c, err := rode.BreakingN(rode.DoubleBraid, diameterMM(in))
			if err != nil {
				return 0, err
			}
			kr, err := rode.Kr(rode.DoubleBraid, 10, 5)
			return kr.Mid * c.Mid / 1000, err
		},
		"retained_low":  retained(func(b quantity.Band) float64 { return b.Low }),
		"retained_high": retained(func(b quantity.Band) float64 { return b.High }),
		"wet": func(published.Inputs) (float64, error) {
			s, err := rode.Derate(quantity.Exactly(1000), "the check", nil, rode.Condition{})
			return s.AsUsedN.Mid / s.NewN.Mid, err
		},
		"weather": func(in published.Inputs) (float64, error) { return rode.WeatherFactor(in.Get("years")) },
		"rainflow": func(in published.Inputs) (float64, error) {
			cycles, err := rainflow(in)
			var n float64
			for _, c := range cycles {
				if c.RangeN == in.Get("range") {
					n += c.Count
				}
			}
			return n, err
		},
		"rainflow_total": func(in published.Inputs) (float64, error) {
			cycles, err := rainflow(in)
			var n float64
			for _, c := range cycles {
				n += c.Count
			}
			return n, err
		},
		"kr_nylon": func(in published.Inputs) (float64, error) {
			kr, err := rode.Kr(rode.ThreeStrand, in.Get("mean_pct"), in.Get("amplitude_pct"))
			return kr.Mid, err
		},
		"cycles_to_break": cyclesToBreak,
		"weight_share": func(published.Inputs) (float64, error) {
			w, err := rode.WeightInWaterNM(1)
			return w / constant.G, err
		},
		"braid_kg_m": func(in published.Inputs) (float64, error) {
			return rode.MassPerMetreKg(rode.DoubleBraid, in.Get("diameter_mm"))
		},
		"pay_out": func(in published.Inputs) (float64, error) {
			weather := []rode.Weather{rode.Calm, rode.Gale, rode.Storm}[int(in.Get("weather_number"))]
			return rode.CustomaryPayOutM(weather, in.Get("loa_m"), in.Get("carried_m"))
		},
		"usual_length": func(in published.Inputs) (float64, error) { return rode.CustomaryLengthM(in.Get("loa_m")) },
	})
}

func TestDerived(t *testing.T) {
	t.Parallel()
	published.Run(t, "rode_derived", map[string]published.Calc{
		"snap_kn": func(in published.Inputs) (float64, error) {
			n, err := rode.SnapLoadN(in.Get("speed_ms"), 1000*in.Get("ae_kn"), in.Get("length_m"), in.Get("mass_kg"))
			return n / 1000, err
		},
		"static_b": func(in published.Inputs) (float64, error) {
			c, err := rode.NewCurve(in.Get("a"), 1e5)
			return c.B, err
		},
		"tension_share": func(in published.Inputs) (float64, error) {
			c, err := rode.NewCurve(in.Get("a"), 1e5)
			return c.Tension(in.Get("stretch")) / 1e5, err
		},
		"energy_kj": func(in published.Inputs) (float64, error) {
			c, err := rode.NewCurve(in.Get("a"), 1000*in.Get("breaking_kn"))
			if err != nil {
				return 0, err
			}
			u, err := c.EnergyJ(in.Get("stretch"), in.Get("length_m"))
			return u / 1000, err
		},
		"fading_n": func(in published.Inputs) (float64, error) {
			c, err := rode.NewCurve(1, in.Get("breaking_n"))
			if err != nil {
				return 0, err
			}
			s, err := rode.NewSolid(c, in.Get("kd"), in.Get("tau_s"))
			if err != nil {
				return 0, err
			}
			return s.FadingN(in.Get("step"), in.Get("since_s"))
		},
		"depth_m": func(in published.Inputs) (float64, error) {
			h := rode.Hang{PullN: in.Get("pull_n"), RodeWeightNM: in.Get("weight_n_m"), LengthM: in.Get("length_m")}
			return h.CanopyDepthM(in.Get("end_weight_n"))
		},
		"cycles_to_break": cyclesToBreak,
	})
}
