package bridle_test

import (
	"math"
	"testing"

	"rideout/service/physics/bridle"
	"rideout/service/physics/constant"
	"rideout/service/physics/hull"
	"rideout/service/physics/internal/published"
	"rideout/service/physics/quantity"
	"rideout/service/physics/wind"
)

func TestPublished(t *testing.T) {
	t.Parallel()
	published.Run(t, "bridle", map[string]published.Calc{
		"leg_share": legShare,
		"leg_lbf": func(in published.Inputs) (float64, error) {
			share, err := legShare(in)
			return share * in.Get("load_lbf"), err
		},
		"wind_lever": windLever,
		"munk_low":   munk(func(b quantity.Band) float64 { return b.Low }),
		"munk_mid":   munk(func(b quantity.Band) float64 { return b.Mid }),
		"practice": func(in published.Inputs) (float64, error) {
			a, err := bridle.Practice(hull.Kinds()[int(in.Get("kind_number"))])
			return a.Degrees(), err
		},
		"square_leg": func(in published.Inputs) (float64, error) {
			l, err := bridle.Square(bridle.Point{OffCentreM: -2.5}, bridle.Point{OffCentreM: 2.5}, in.Get("beam_m"))
			return l.Aft.LengthM, err
		},
	})
}

func TestDerived(t *testing.T) {
	t.Parallel()
	published.Run(t, "bridle_derived", map[string]published.Calc{
		"leg_share":     legShare,
		"uneven_first":  uneven(func(fore, _ float64) float64 { return fore }),
		"uneven_second": uneven(func(_, aft float64) float64 { return aft }),
		"along":         loads(func(r bridle.Resultant) float64 { return r.AlongN }),
		"across":        loads(func(r bridle.Resultant) float64 { return r.AcrossN }),
		"moment":        loads(func(r bridle.Resultant) float64 { return r.MomentNM }),
		"drift":         loads(func(r bridle.Resultant) float64 { return r.DriftMS }),
		"rest":          rest(func(e bridle.Equilibrium) float64 { return e.Heading.Degrees() }),
		"fore_share":    rest(func(e bridle.Equilibrium) float64 { return e.ForeShare }),
		"aft_share":     rest(func(e bridle.Equilibrium) float64 { return e.AftShare }),
		"rode":          rest(func(e bridle.Equilibrium) float64 { return e.RodeN }),
	})
}

// legShare is the share of the leg to port of two equal ones, the rode leading ahead.
func legShare(in published.Inputs) (float64, error) {
	const half = 1.5
	each := half / math.Sin(quantity.Degrees(in.Get("half_angle_deg")).Radians())
	l := bridle.Legs{
		Fore: bridle.Leg{Point: bridle.Point{Name: "port", OffCentreM: -half}, LengthM: each},
		Aft:  bridle.Leg{Point: bridle.Point{Name: "starboard", OffCentreM: half}, LengthM: each},
	}
	share, _, err := l.Shares(0)
	return share, err
}

// uneven sets two points so that the legs to them stand at given angles off a rode that leads ahead.
func uneven(of func(fore, aft float64) float64) published.Calc {
	return func(in published.Inputs) (float64, error) {
		leg := func(lengthM, offRodeDeg float64) bridle.Leg {
			a := quantity.Degrees(offRodeDeg).Radians()
			return bridle.Leg{Point: bridle.Point{FromBowM: lengthM * math.Cos(a), OffCentreM: lengthM * math.Sin(a)}, LengthM: lengthM}
		}
		l := bridle.Legs{Fore: leg(4, -in.Get("first_deg")), Aft: leg(7, in.Get("second_deg"))}
		fore, aft, err := l.Shares(0)
		return of(fore, aft), err
	}
}

// windLever is how far forward of its centre the wind bears on a plate as long as the hull, in lengths.
func windLever(in published.Inputs) (float64, error) {
	const centreM = 6.0
	y := power
	sliver := 1e-9 // some force from ahead, or no resultant there
	y.Parts = []wind.Part{{Name: "plate", FrontalAreaM2: sliver, LateralAreaM2: 20, CentreHeightM: 1, CentreFromBowM: centreM, ShapeCoefficient: 1}}
	y.Weather.WindMS = 50
	y.Parts = append(y.Parts, wind.Part{Name: "pole", FrontalAreaM2: 1e-2, LateralAreaM2: 0, CentreHeightM: 1, ShapeCoefficient: 1})
	load, err := y.Wind(quantity.Degrees(in.Get("off_bow_deg")))
	return (centreM - load.MomentNM/load.AcrossN) / y.Hull.LOAM, err
}

func munk(end func(quantity.Band) float64) published.Calc {
	return func(in published.Inputs) (float64, error) {
		return end(bridle.MunkShare.Band) - in.Get("nv")/(in.Get("sway_added")-in.Get("surge_added")), nil
	}
}

// inWeather is the power vessel in the weather of a row.
func inWeather(in published.Inputs) bridle.Lying {
	y := power
	y.CanopyDragAreaM2 = in.Get("cd0") * math.Pi / 4 * in.Get("canopy_m") * in.Get("canopy_m")
	y.Weather = bridle.Weather{
		WindMS:     quantity.MetresPerSecond(in.Get("wind_kn")),
		HeadDriftN: in.Get("head_drift_n"), BeamDriftN: in.Get("beam_drift_n"),
	}
	return y
}

func loads(of func(bridle.Resultant) float64) published.Calc {
	return func(in published.Inputs) (float64, error) {
		r, err := inWeather(in).Loads(quantity.Degrees(in.Get("heading_deg")))
		return of(r), err
	}
}

func rest(of func(bridle.Equilibrium) float64) published.Calc {
	return func(in published.Inputs) (float64, error) {
		l := bridle.Legs{Fore: bridle.Leg{Point: bitt, LengthM: in.Get("fore_leg_m")}, Aft: bridle.Leg{Point: cleat, LengthM: in.Get("aft_leg_m")}}
		y, from := inWeather(in), quantity.Degrees(in.Get("from_deg"))
		if in.Has("shift_deg") {
			e, err := y.AfterShift(l, from, quantity.Degrees(in.Get("shift_deg")))
			return of(e), err
		}
		e, err := y.Settle(l, from)
		return of(e), err
	}
}

// The middle of the band of the wind's centre lies beside the quarter chord of a thin aerofoil, which lies inside
// the band.
func TestWindCentreBesideTheQuarterChord(t *testing.T) {
	t.Parallel()
	leading := func(perRad float64) float64 { return 0.5 - perRad*math.Pi/2 }
	var c constant.Coefficient = bridle.WindCentreShift
	if !(leading(c.High) < 0.25 && 0.25 < leading(c.Low)) {
		t.Errorf("centre from the leading edge %.3f to %.3f of the length, want .25 inside", leading(c.High), leading(c.Low))
	}
}
