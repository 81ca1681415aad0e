package canopy_test

import (
	"testing"

	"rideout/service/physics/canopy"
	"rideout/service/physics/internal/published"
	"rideout/service/physics/quantity"
)

// ofShape reads one coefficient of the shape with the check's number.
func ofShape(figure func(canopy.Coefficients) float64) published.Calc {
	return func(in published.Inputs) (float64, error) {
		c, err := canopy.Shapes()[int(in.Get("shape_number"))].Coefficients()
		return figure(c), err
	}
}

func peakShock(in published.Inputs) (float64, error) {
	x, _, err := canopy.PeakShockFactor(in.Get("mass_ratio"))
	return x, err
}

func TestPublished(t *testing.T) {
	t.Parallel()
	published.Run(t, "canopy", map[string]published.Calc{
		"tow_exponent": func(in published.Inputs) (float64, error) {
			return canopy.DragExponent([]canopy.TowPoint{
				{quantity.MetresPerSecond(in.Get("v1_kt")), in.Get("pull1_kgf") * quantity.NewtonsPerKilogramF},
				{quantity.MetresPerSecond(in.Get("v2_kt")), in.Get("pull2_kgf") * quantity.NewtonsPerKilogramF},
				{quantity.MetresPerSecond(in.Get("v3_kt")), in.Get("pull3_kgf") * quantity.NewtonsPerKilogramF},
			})
		},
		"peak_shock": peakShock,
		"shock": func(in published.Inputs) (float64, error) {
			return canopy.ShockFactor(in.Get("time_share"), in.Get("mass_ratio"))
		},
		"projected_low":  ofShape(func(c canopy.Coefficients) float64 { return c.ProjectedRatio.Low }),
		"projected_high": ofShape(func(c canopy.Coefficients) float64 { return c.ProjectedRatio.High }),
		"air_cd0_low":    ofShape(func(c canopy.Coefficients) float64 { return c.AirCd0Low }),
		"air_cd0_high":   ofShape(func(c canopy.Coefficients) float64 { return c.AirCd0High }),
		"opening_low":    ofShape(func(c canopy.Coefficients) float64 { return c.OpeningFactor.Low }),
		"opening_high":   ofShape(func(c canopy.Coefficients) float64 { return c.OpeningFactor.High }),
		"fill_constant":  ofShape(func(c canopy.Coefficients) float64 { return c.FillConstant }),
	})
}

// flat makes the flat circular canopy of a derived check; its projected ratio must be the low end
// of the shape's band and its drag coefficient the middle one.
func flat(in published.Inputs) (canopy.Canopy, error) {
	c, err := canopy.New(canopy.FlatCircular, in.Get("diameter_m"))
	if err != nil {
		return c, err
	}
	if err := quantity.Within("projected ratio of the check", 2*c.ProjectedRadiusM().Low/c.DiameterM(), in.Get("projected_ratio")-1e-12, in.Get("projected_ratio")+1e-12, ""); err != nil {
		return c, err
	}
	return c.WithCd0(quantity.Exactly(in.Get("cd0")))
}

func TestDerived(t *testing.T) {
	t.Parallel()
	published.Run(t, "canopy_derived", map[string]published.Calc{
		"disc_inertia": func(in published.Inputs) (float64, error) {
			c, err := flat(in)
			return c.InertiaKg().Low, err
		},
		"enclosed": func(in published.Inputs) (float64, error) {
			c, err := flat(in)
			return c.EnclosedKg().Low, err
		},
		"drag": func(in published.Inputs) (float64, error) {
			c, err := flat(in)
			if err != nil {
				return 0, err
			}
			d, err := c.DragN(in.Get("speed_ms"))
			return d.Mid, err
		},
		"drift": func(in published.Inputs) (float64, error) {
			c, err := flat(in)
			if err != nil {
				return 0, err
			}
			v, err := c.SpeedForDrag(in.Get("force_n"))
			return v.Mid, err
		},
		"peak_shock": peakShock,
		"peak_time": func(in published.Inputs) (float64, error) {
			_, at, err := canopy.PeakShockFactor(in.Get("mass_ratio"))
			return at, err
		},
		"usual_low": func(in published.Inputs) (float64, error) {
			low, _, err := canopy.UsualDiameterM(in.Get("loa_m"))
			return low, err
		},
		"usual_high": func(in published.Inputs) (float64, error) {
			_, high, err := canopy.UsualDiameterM(in.Get("loa_m"))
			return high, err
		},
		"thumb": func(in published.Inputs) (float64, error) { return canopy.ThumbDiameterM(in.Get("loa_m")) },
	})
}
