package seaway_test

import (
	"math"
	"testing"

	"rideout/service/physics/constant"
	"rideout/service/physics/internal/published"
	"rideout/service/physics/quantity"
	"rideout/service/physics/seaway"
)

var inf = math.Inf(1)

// wholeTail is a grid fine and long enough for moments of a spectrum without a cut.
var wholeTail = seaway.Grid{StepRadS: 0.002, Count: 200_001}

func TestPublished(t *testing.T) {
	t.Parallel()
	published.Run(t, "seaway", map[string]published.Calc{
		"relative_depth": func(in published.Inputs) (float64, error) {
			l, err := seaway.Wavelength(in.Get("period_s"), in.Get("depth_m"))
			return in.Get("depth_m") / l, err
		},
		"wavelength": wavelength,
		"celerity": func(in published.Inputs) (float64, error) {
			return seaway.Celerity(in.Get("period_s"), in.Get("depth_m"))
		},
		"relative_depth_from_deep": func(in published.Inputs) (float64, error) {
			h, err := depthOf(in)
			if err != nil {
				return 0, err
			}
			l, err := seaway.Wavelength(10, h)
			return h / l, err
		},
		"group_ratio_from_deep": func(in published.Inputs) (float64, error) {
			h, err := depthOf(in)
			if err != nil {
				return 0, err
			}
			return seaway.GroupRatio(10, h)
		},
		"peak_period_of_pierson_moskowitz": func(in published.Inputs) (float64, error) {
			s, err := pierson(in)
			return s.PeakPeriod(), err
		},
		"density_of_pierson_moskowitz": func(in published.Inputs) (float64, error) {
			s, err := pierson(in)
			return s.At(in.Get("omega_rad_s")), err
		},
		"tz_ratio": ratio(seaway.Spectrum.ZeroCrossingPeriodTz),
		"t1_ratio": ratio(seaway.Spectrum.MeanPeriodT1),
		"te_ratio": ratio(seaway.Spectrum.EnergyPeriodTe),
		"polynomial_tz_ratio": func(in published.Inputs) (float64, error) {
			tz, _, err := seaway.PeriodRatios(in.Get("gamma"))
			return tz, err
		},
		"polynomial_t1_ratio": func(in published.Inputs) (float64, error) {
			_, t1, err := seaway.PeriodRatios(in.Get("gamma"))
			return t1, err
		},
		"full_development_height_coefficient": func(in published.Inputs) (float64, error) {
			sea, err := seaway.Grow(in.Get("wind_m_s"), inf, inf)
			u := friction(in)
			return constant.G * sea.HsM / (u * u), err
		},
		"full_development_period_coefficient": func(in published.Inputs) (float64, error) {
			sea, err := seaway.Grow(in.Get("wind_m_s"), inf, inf)
			return constant.G * sea.TpS / friction(in), err
		},
		"duration_fetch_coefficient": func(in published.Inputs) (float64, error) {
			sea, err := seaway.Grow(in.Get("wind_m_s"), inf, in.Get("duration_s"))
			u := friction(in)
			fetch := math.Pow(constant.G*sea.HsM/(u*u)/0.0413, 2)
			return fetch / math.Pow(constant.G*in.Get("duration_s")/u, 1.5), err
		},
		"fetch_height_coefficient": func(in published.Inputs) (float64, error) {
			sea, err := seaway.Grow(in.Get("wind_m_s"), in.Get("fetch_m"), inf)
			u := friction(in)
			return constant.G * sea.HsM / (u * u) / math.Sqrt(constant.G*in.Get("fetch_m")/(u*u)), err
		},
		"fetch_period_coefficient": func(in published.Inputs) (float64, error) {
			sea, err := seaway.Grow(in.Get("wind_m_s"), in.Get("fetch_m"), inf)
			u := friction(in)
			return constant.G * sea.TpS / u / math.Cbrt(constant.G*in.Get("fetch_m")/(u*u)), err
		},
		"growth_height": func(in published.Inputs) (float64, error) {
			sea, err := seaway.Grow(in.Get("wind_m_s"), in.Get("fetch_m"), in.Get("duration_s"))
			return sea.HsM, err
		},
		"growth_period": func(in published.Inputs) (float64, error) {
			sea, err := seaway.Grow(in.Get("wind_m_s"), in.Get("fetch_m"), in.Get("duration_s"))
			return sea.TpS, err
		},
		"spm_height": func(in published.Inputs) (float64, error) {
			sea, err := seaway.FetchLimitedSPM(in.Get("wind_m_s"), in.Get("fetch_m"))
			return sea.HsM, err
		},
		"spm_period": func(in published.Inputs) (float64, error) {
			sea, err := seaway.FetchLimitedSPM(in.Get("wind_m_s"), in.Get("fetch_m"))
			return sea.TpS, err
		},
		"rayleigh_maximum": func(in published.Inputs) (float64, error) {
			return seaway.Rayleigh.MostProbableMaximum(1, in.Get("waves"))
		},
		"forristall_maximum": func(in published.Inputs) (float64, error) {
			return seaway.Forristall.MostProbableMaximum(1, in.Get("waves"))
		},
		"crest_speed_ft_s": func(in published.Inputs) (float64, error) {
			c, err := seaway.CelerityOfLength(in.Get("length_ft")*quantity.MetresPerFoot, inf)
			return c / quantity.MetresPerFoot, err
		},
		"hazard_some_ft": func(in published.Inputs) (float64, error) {
			h, err := hazardOf(in)
			return h.SomeHeightM / quantity.MetresPerFoot, err
		},
		"hazard_all_ft": func(in published.Inputs) (float64, error) {
			h, err := hazardOf(in)
			return h.AllHeightM / quantity.MetresPerFoot, err
		},
		"sea_state": func(in published.Inputs) (float64, error) {
			state, err := seaway.StateOf(in.Get("significant_height_m"))
			return float64(state.Code), err
		},
	})
}

func TestDerived(t *testing.T) {
	t.Parallel()
	published.Run(t, "seaway_derived", map[string]published.Calc{
		"wavelength": wavelength,
		"orbital_speed": func(in published.Inputs) (float64, error) {
			return seaway.OrbitalSpeed(in.Get("height_m"), in.Get("period_s"), inf, in.Get("below_m"))
		},
		"decay": func(in published.Inputs) (float64, error) {
			return seaway.Decay(2*math.Pi/in.Get("period_s"), inf, in.Get("below_m"))
		},
		"gamma": func(in published.Inputs) (float64, error) {
			return seaway.Gamma(in.Get("significant_height_m"), in.Get("peak_period_s")), nil
		},
		"stokes_regular": func(in published.Inputs) (float64, error) {
			return seaway.StokesDriftRegular(in.Get("height_m"), in.Get("period_s"), 0)
		},
		"miche": func(in published.Inputs) (float64, error) {
			return seaway.MicheHeight(in.Get("length_m"), inf)
		},
		"depth_limited": func(in published.Inputs) (float64, error) {
			return seaway.DepthLimitedHeight(in.Get("period_s"), in.Get("depth_m"))
		},
		"steepness": func(in published.Inputs) (float64, error) {
			return seaway.Steepness(in.Get("height_m"), in.Get("period_s"))
		},
	})
}

// wavelength takes deep water where a check gives no depth.
func wavelength(in published.Inputs) (float64, error) {
	depth := inf
	if in.Has("depth_m") {
		depth = in.Get("depth_m")
	}
	return seaway.Wavelength(in.Get("period_s"), depth)
}

// depthOf is the depth in m for a wave of 10 s.
func depthOf(in published.Inputs) (float64, error) {
	deep, err := seaway.Wavelength(10, inf)
	return in.Get("depth_over_deep_length") * deep, err
}

// pierson is the Pierson-Moskowitz spectrum of a zero-crossing period: Tz/Tp = (0.8/pi)^(1/4) exactly.
func pierson(in published.Inputs) (seaway.Spectrum, error) {
	tp := in.Get("zero_crossing_period_s") / math.Pow(0.8/math.Pi, 0.25)
	return seaway.JONSWAP(in.Get("significant_height_m"), tp, 1, wholeTail)
}

func ratio(period func(seaway.Spectrum) float64) published.Calc {
	return func(in published.Inputs) (float64, error) {
		s, err := seaway.JONSWAP(1, 10, in.Get("gamma"), wholeTail)
		if err != nil {
			return 0, err
		}
		return period(s) / 10, nil
	}
}

// friction is u* by the drag law as printed, the tests' own copy.
func friction(in published.Inputs) float64 {
	u := in.Get("wind_m_s")
	return u * math.Sqrt(0.001*(1.1+0.035*u))
}

func hazardOf(in published.Inputs) (seaway.Hazard, error) {
	return seaway.BreakingHazard(seaway.Spectrum{}, in.Get("loa_ft")*quantity.MetresPerFoot, 10800, seaway.BeamOn)
}
