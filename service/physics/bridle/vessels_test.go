package bridle_test

import (
	"errors"
	"math"
	"testing"

	"rideout/service/physics/bridle"
	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/physics/wind"
)

// Three invented vessels, in 45 kn and the sea of Hs 6 m, Tp 10 s.
var (
	bitt     = bridle.Point{Name: "bow bitt", FromBowM: 0.3}
	cleat    = bridle.Point{Name: "port midship cleat", FromBowM: 5.6, OffCentreM: -1.9}
	roller   = bridle.Point{Name: "bow roller", FromBowM: 0.2}
	winch    = bridle.Point{Name: "port winch", FromBowM: 8, OffCentreM: -1.6}
	portBow  = bridle.Point{Name: "port bow", FromBowM: 0.2, OffCentreM: -2.7}
	starBow  = bridle.Point{Name: "starboard bow", FromBowM: 0.2, OffCentreM: 2.7}
	gale     = quantity.MetresPerSecond(45)
	flat5m50 = 0.75 * math.Pi / 4 * 5.5 * 5.5

	power = bridle.Lying{
		Hull: hull.Hull{Kind: hull.PowerDisplacement, LOAM: 12.2, LWLM: 11.2, BeamM: 4.0, DraughtM: 1.3, DisplacementKg: 14000},
		Parts: []wind.Part{
			{Name: "topsides", FrontalAreaM2: 7, LateralAreaM2: 17, CentreHeightM: 0.8, CentreFromBowM: 5.8, ShapeCoefficient: 1.0},
			{Name: "superstructure", FrontalAreaM2: 9, LateralAreaM2: 22, CentreHeightM: 2.4, CentreFromBowM: 5.5, ShapeCoefficient: 1.1},
		},
		CanopyDragAreaM2: flat5m50,
		Weather:          bridle.Weather{WindMS: gale, HeadDriftN: 500, BeamDriftN: 1650},
	}
	sail = bridle.Lying{
		Hull:             hull.Hull{Kind: hull.SailMonohull, LOAM: 11, LWLM: 9.5, BeamM: 3.6, DraughtM: 1.9, DisplacementKg: 7000},
		Parts:            estimated(hull.SailMonohull, 11, 3.6, 0.10*11),
		CanopyDragAreaM2: 0.75 * math.Pi / 4 * 4 * 4,
		Weather:          bridle.Weather{WindMS: gale, HeadDriftN: 300, BeamDriftN: 1100},
	}
	cat = bridle.Lying{
		Hull:             hull.Hull{Kind: hull.SailMultihull, LOAM: 12, LWLM: 11.5, BeamM: 6.5, DraughtM: 1.1, DisplacementKg: 8000},
		Parts:            estimated(hull.SailMultihull, 12, 6.5, 0.12*12),
		CanopyDragAreaM2: 0.75 * math.Pi / 4 * 5 * 5,
		Weather:          bridle.Weather{WindMS: gale, HeadDriftN: 870, BeamDriftN: 4900},
	}
)

func estimated(k hull.Kind, loaM, beamM, freeboardM float64) []wind.Part {
	parts, err := wind.Estimate(k, loaM, beamM, freeboardM)
	if err != nil {
		return nil // refused by the first test that uses it
	}
	return parts
}

// calmSea is the same in a flat sea.
func calmSea(y bridle.Lying) bridle.Lying {
	y.Weather.HeadDriftN, y.Weather.BeamDriftN = 0, 0
	return y
}

// mirrored swaps port and starboard of a point.
func mirrored(p bridle.Point) bridle.Point { p.OffCentreM = -p.OffCentreM; return p }

func at(t *testing.T, y bridle.Lying, deg float64) bridle.Resultant {
	t.Helper()
	r, err := y.Loads(quantity.Degrees(deg))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func set(t *testing.T, y bridle.Lying, fore, aft bridle.Point, deg float64, lim bridle.Limits) bridle.Bridle {
	t.Helper()
	b, err := y.Set(fore, aft, quantity.Degrees(deg), lim)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func settle(t *testing.T, y bridle.Lying, l bridle.Legs, fromDeg float64) bridle.Equilibrium {
	t.Helper()
	e, err := y.Settle(l, quantity.Degrees(fromDeg))
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.12g, want %.12g within %g", what, got, want, tol)
	}
}

// refuse wants a RangeError about a named value.
func refuse(t *testing.T, name string, err error) {
	t.Helper()
	var r *quantity.RangeError
	if !errors.As(err, &r) || r.Name != name {
		t.Errorf("got error %v, want a range error about %q", err, name)
	}
}
