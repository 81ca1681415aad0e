package wind_test

import (
	"testing"

	"rideout/service/physics/constant"
	"rideout/service/physics/hull"
	"rideout/service/physics/internal/published"
	"rideout/service/physics/quantity"
	"rideout/service/physics/wind"
)

const (
	pascalsPerPoundSquareFoot = quantity.NewtonsPerPoundForce / (quantity.MetresPerFoot * quantity.MetresPerFoot)
	metresPerSecondPerMph     = 5280 * quantity.MetresPerFoot / 3600
)

func TestPublished(t *testing.T) {
	t.Parallel()
	published.Run(t, "wind", map[string]published.Calc{
		"to_hour": func(in published.Inputs) (float64, error) { return wind.ToHour(in.Get("averaging_s")) },
		"hourly_wind": func(in published.Inputs) (float64, error) {
			ratio, err := wind.ToHour(in.Get("averaging_s"))
			return in.Get("wind_m_s") / ratio, err
		},
		"averaging_ratio": func(in published.Inputs) (float64, error) {
			a, err := wind.ToHour(in.Get("averaging_s"))
			if err != nil {
				return 0, err
			}
			b, err := wind.ToHour(in.Get("base_averaging_s"))
			return a / b, err
		},
		"gust_ratio_low":  gust(func(b quantity.Band) float64 { return b.Low }),
		"gust_ratio_mid":  gust(func(b quantity.Band) float64 { return b.Mid }),
		"gust_ratio_high": gust(func(b quantity.Band) float64 { return b.High }),
		"at_sea_factor": func(in published.Inputs) (float64, error) {
			for _, f := range wind.AtSeaFactors() {
				if f.AveragingS == in.Get("averaging_s") && f.WithinS == in.Get("within_s") {
					return f.Ratio, nil
				}
			}
			return 0, nil
		},
		"implied_air_density_mph": func(in published.Inputs) (float64, error) {
			q, err := wind.Pressure(metresPerSecondPerMph)
			return in.Get("coefficient_lbf_ft2_mph2") * pascalsPerPoundSquareFoot / q * constant.RhoAir, err
		},
		"implied_drag_coefficient_kn": func(in published.Inputs) (float64, error) {
			q, err := wind.Pressure(quantity.MetresPerSecond(1))
			return in.Get("coefficient_lbf_ft2_kn2") * pascalsPerPoundSquareFoot / q, err
		},
		"anchoring_working": func(in published.Inputs) (float64, error) {
			load, err := wind.Anchoring(hull.PowerDisplacement, in.Get("loa_ft")*quantity.MetresPerFoot, in.Get("beam_ft")*quantity.MetresPerFoot)
			return load.WorkingN, err
		},
		"anchoring_storm_sail": func(in published.Inputs) (float64, error) {
			load, err := wind.Anchoring(hull.SailMonohull, in.Get("loa_ft")*quantity.MetresPerFoot, in.Get("beam_ft")*quantity.MetresPerFoot)
			return load.StormN / quantity.NewtonsPerPoundForce, err
		},
		"beaufort":      beaufort(func(b wind.Beaufort) float64 { return float64(b.Force) }),
		"probable_wave": beaufort(func(b wind.Beaufort) float64 { return b.ProbableWaveM }),
		"maximum_wave":  beaufort(func(b wind.Beaufort) float64 { return b.MaximumWaveM }),
	})
}

func TestDerived(t *testing.T) {
	t.Parallel()
	published.Run(t, "wind_derived", map[string]published.Calc{
		"profile": func(in published.Inputs) (float64, error) {
			return wind.At(in.Get("wind_m_s"), in.Get("height_m"), in.Get("averaging_s"))
		},
		"hazen": func(in published.Inputs) (float64, error) {
			return wind.HazenWindage(quantity.MetresPerSecond(in.Get("wind_kn")), in.Get("beam_m"), in.Get("freeboard_m"), in.Get("mast_m"), in.Get("mast_diameter_m"))
		},
		"force_along": func(in published.Inputs) (float64, error) {
			plate := wind.Part{Name: "plate", FrontalAreaM2: in.Get("area_m2"), CentreHeightM: in.Get("height_m"), ShapeCoefficient: in.Get("shape_coefficient")}
			load, err := wind.Force([]wind.Part{plate}, in.Get("wind_m_s"), 0, wind.DesignAveragingS)
			return load.AlongN, err
		},
		"along_shape":  shape(func(l wind.Load) float64 { return l.AlongN }),
		"across_shape": shape(func(l wind.Load) float64 { return l.AcrossN }),
	})
}

// shape is a force by the wind's angle over that of the wind along and across, from ahead and from abeam.
func shape(of func(wind.Load) float64) published.Calc {
	return func(in published.Inputs) (float64, error) {
		block := []wind.Part{{Name: "block", FrontalAreaM2: 1, LateralAreaM2: 1, CentreHeightM: 1, ShapeCoefficient: 1}}
		head, err := wind.Force(block, 20, 0, wind.DesignAveragingS)
		if err != nil {
			return 0, err
		}
		load, err := wind.Force(block, 20, quantity.Degrees(in.Get("off_bow_deg")), wind.DesignAveragingS)
		return of(load) / head.AlongN, err
	}
}

// gust is the estimated gust of a mean of 15 m/s, over that mean.
func gust(of func(quantity.Band) float64) published.Calc {
	return func(published.Inputs) (float64, error) {
		b, err := wind.EstimateGust(15)
		return of(b) / 15, err
	}
}

func beaufort(of func(wind.Beaufort) float64) published.Calc {
	return func(in published.Inputs) (float64, error) {
		b, err := wind.BeaufortOf(quantity.MetresPerSecond(in.Get("wind_kn")))
		return of(b), err
	}
}
