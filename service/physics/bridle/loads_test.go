package bridle_test

import (
	"math"
	"testing"

	"rideout/service/physics/bridle"
	"rideout/service/physics/quantity"
	"rideout/service/physics/wind"
)

// Wind, sea, hull and canopy are in balance: the forces are put together anew from the packages they come from.
func TestForcesBalance(t *testing.T) {
	t.Parallel()
	for _, y := range []bridle.Lying{power, sail, cat} {
		for deg := -180.0; deg <= 180; deg += 7.5 {
			r := at(t, y, deg)
			w, err := wind.Force(y.Parts, y.Weather.WindMS, quantity.Degrees(deg), wind.DesignAveragingS)
			if err != nil {
				t.Fatal(err)
			}
			c, s := math.Cos(deg*math.Pi/180), math.Sin(deg*math.Pi/180)
			sin, cos := math.Sincos(r.RodeLeads.Radians())
			u, v := r.DriftMS*cos, r.DriftMS*sin // aft and to port, down the rode
			q := 0.5 * 1025.0
			along := w.AlongN + y.Weather.HeadDriftN*c*math.Abs(c) - q*y.Hull.DragAreaAsternM2().Mid*u*math.Abs(u)
			across := w.AcrossN + y.Weather.BeamDriftN*s*math.Abs(s) - q*y.Hull.DragAreaBeamM2().Mid*v*math.Abs(v)
			tol := 1e-9 * r.RodeN
			near(t, "along", r.AlongN, along, tol)
			near(t, "across", r.AcrossN, across, tol)
			near(t, "canopy drag", q*y.CanopyDragAreaM2*r.DriftMS*r.DriftMS, r.RodeN, tol)
			near(t, "rode", math.Hypot(r.AlongN, r.AcrossN), r.RodeN, tol)
		}
	}
}

func TestLoadsMirrorAndScale(t *testing.T) {
	t.Parallel()
	doubled := calmSea(power)
	doubled.Weather.WindMS, doubled.Weather.AveragingS = 2*gale/3, 600
	single := doubled
	single.Weather.WindMS = gale / 3
	for deg := 5.0; deg <= 180; deg += 12.5 {
		p, s := at(t, power, -deg), at(t, power, deg)
		near(t, "along mirrored", p.AlongN, s.AlongN, 1e-9*s.RodeN)
		near(t, "across mirrored", p.AcrossN, -s.AcrossN, 1e-9*s.RodeN)
		near(t, "moment mirrored", p.MomentNM, -s.MomentNM, 1e-8*s.RodeN)
		one, two := at(t, single, deg), at(t, doubled, deg)
		near(t, "rode at twice the wind", two.RodeN, 4*one.RodeN, 1e-9*two.RodeN)
		near(t, "moment at twice the wind", two.MomentNM, 4*one.MomentNM, 1e-8*two.RodeN)
		near(t, "drift at twice the wind", two.DriftMS, 2*one.DriftMS, 1e-9)
		near(t, "lead at twice the wind", two.RodeLeads.Degrees(), one.RodeLeads.Degrees(), 1e-7)
	}
}

// On a huge canopy she hardly moves, and the water has no say; a larger canopy never drifts faster.
func TestLoadsOnAHugeCanopy(t *testing.T) {
	t.Parallel()
	y := calmSea(power)
	before := math.Inf(1)
	for _, area := range []float64{0.1, 1, 10, 100, 1000, 10000} {
		y.CanopyDragAreaM2 = area
		r := at(t, y, 40)
		if r.DriftMS >= before {
			t.Errorf("drag area %g m2: drift %g m/s, not below the %g of a smaller one", area, r.DriftMS, before)
		}
		before = r.DriftMS
	}
	w, err := y.Wind(quantity.Degrees(40))
	if err != nil {
		t.Fatal(err)
	}
	r := at(t, y, 40)
	near(t, "along", r.AlongN, w.AlongN, 0.002*w.AlongN)
	near(t, "across", r.AcrossN, w.AcrossN, 0.002*w.AcrossN)
	near(t, "moment", r.MomentNM, w.MomentNM, 0.005*w.MomentNM)
}

// A mast has no leading edge to move its force to, a long wall has.
func TestWindCentreMovesOnLongPartsAlone(t *testing.T) {
	t.Parallel()
	y := power
	y.Parts = []wind.Part{{Name: "mast", FrontalAreaM2: 3, LateralAreaM2: 3, CentreHeightM: 8, CentreFromBowM: 5, ShapeCoefficient: 1}}
	for _, deg := range []float64{10, 60, 90, 150} {
		w, err := y.Wind(quantity.Degrees(deg))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "arm of a mast", w.MomentNM/w.AcrossN, 5, 1e-9)
	}
	before := 0.0
	for deg := 5.0; deg <= 175; deg += 5 {
		w, err := power.Wind(quantity.Degrees(deg))
		if err != nil {
			t.Fatal(err)
		}
		arm := w.MomentNM / w.AcrossN
		if arm <= before {
			t.Errorf("%g degrees off the bow: centre %g m from the stem, want farther aft than %g", deg, arm, before)
		}
		before = arm
	}
}

// A sea against the wind slows her; from abeam it sets her to the side it goes to.
func TestSeaOffTheWind(t *testing.T) {
	t.Parallel()
	with, against, abeam := power, power, power
	against.Weather.SeaOffWind = quantity.Degrees(180)
	abeam.Weather.SeaOffWind = quantity.Degrees(90)
	if a, b := at(t, against, 0), at(t, with, 0); !(a.RodeN < b.RodeN) {
		t.Errorf("rode %g N with the sea against the wind, %g N with it", a.RodeN, b.RodeN)
	}
	r := at(t, abeam, 0)
	if !(r.AcrossN > 0 && r.RodeLeads > 0) {
		t.Errorf("sea on the starboard beam: %+v, want her set to port, the rode leading to starboard", r)
	}
}

func TestLoadsRefuse(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	for name, spoil := range map[string]func(*bridle.Lying){
		"wind speed":                                func(y *bridle.Lying) { y.Weather.WindMS = 0 },
		"averaging time":                            func(y *bridle.Lying) { y.Weather.AveragingS = nan },
		"drag area of the canopy":                   func(y *bridle.Lying) { y.CanopyDragAreaM2 = nan },
		"wave drift bow-on":                         func(y *bridle.Lying) { y.Weather.HeadDriftN = -1 },
		"wave drift beam-on":                        func(y *bridle.Lying) { y.Weather.BeamDriftN = nan },
		"direction of the sea off that of the wind": func(y *bridle.Lying) { y.Weather.SeaOffWind = quantity.Angle(nan) },
		"tendency":                                  func(y *bridle.Lying) { y.Tendency = 3 },
		"beam":                                      func(y *bridle.Lying) { y.Hull.BeamM = nan },
		"lateral area of wall":                      func(y *bridle.Lying) { y.Parts = []wind.Part{{Name: "wall", LateralAreaM2: nan}} },
		"lesser of the wind's force from ahead and from abeam": func(y *bridle.Lying) { y.Parts = nil },
	} {
		y := power
		spoil(&y)
		_, err := y.Loads(0)
		refuse(t, name, err)
		_, err = y.Wind(0)
		refuse(t, name, err)
		_, err = y.Settle(bridle.Plain(bitt), 0)
		refuse(t, name, err)
		if name != "tendency" { // Yaw goes through them all
			_, err = y.Yaw(bitt)
			refuse(t, name, err)
		}
		_, err = y.Set(bitt, cleat, quantity.Degrees(-30), bridle.Limits{})
		refuse(t, name, err)
		_, _, _, err = y.Range(bitt, cleat, bridle.Limits{})
		refuse(t, name, err)
	}
	_, err := power.Loads(quantity.Angle(nan))
	refuse(t, "heading off the wind", err)
	_, err = power.Wind(quantity.Degrees(200))
	refuse(t, "heading off the wind", err)
}
