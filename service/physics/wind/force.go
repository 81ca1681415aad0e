package wind

import (
	"math"

	"rideout/service/physics/quantity"
)

// Part is a piece of the vessel the wind bears on. Areas are projections, from ahead and from the side.
type Part struct {
	Name             string
	FrontalAreaM2    float64
	LateralAreaM2    float64
	CentreHeightM    float64 // of the areas, above the water
	CentreFromBowM   float64 // aft of the stem, of the lateral area
	ShapeCoefficient float64 // drag coefficient on either area; 1.0 to 1.2 for bluff shapes
}

func (p Part) check() error {
	for _, c := range []struct {
		name     string
		v, lo, h float64
		unit     string
	}{
		{"frontal area", p.FrontalAreaM2, 0, 1e4, "m2"},
		{"lateral area", p.LateralAreaM2, 0, 1e4, "m2"},
		{"height of the centre", p.CentreHeightM, minHeightM, maxHeightM, "m"},
		{"distance of the centre from the bow", p.CentreFromBowM, -20, 200, "m"},
		{"shape coefficient", p.ShapeCoefficient, 0, 3, ""},
	} {
		if err := quantity.Within(c.name+" of "+p.Name, c.v, c.lo, c.h, c.unit); err != nil {
			return err
		}
	}
	return nil
}

// Load is the wind's force on a vessel and its turning moment about the stem.
type Load struct {
	AlongN   float64 // positive aft: a head wind pushes her astern
	AcrossN  float64 // positive to port: a wind on the starboard side
	MomentNM float64 // about the vertical through the stem, positive clockwise from above: the bow to starboard
}

// Force returns the load on a sum of parts in a wind whose 10 min mean at 10 m is given in m/s (0 to
// 61.7, that is 120 kn), averaged over the time in s (1 to 3600; DesignAveragingS as a rule). offWind is
// the direction the wind comes from, seen from the bow, clockwise: positive with the wind to starboard.
// Each part takes the wind at the height of its own centre.
//
// Along her the frontal area bears with the shape of equation 7 below, across her the lateral area with
// the sine: the force along stays above the head-on one to 37 degrees off the bow, is greatest, by 7 %,
// at 25 degrees, and falls to nothing abeam; the same from astern with the sign turned.
//
// Simplifications: one part does not shelter another; the wind abeam leaves no force along, where hulls
// with the house far forward or aft have a little; the lateral force keeps its place as the wind comes
// forward, where on real hulls it moves toward the bow; roll and pitch are not taken in.
//
// Source: UFC 4-159-03 (2005), Design: Moorings, eq. 7 and 7a, ships with a distributed superstructure; angle
// of no longitudinal force 90 degrees, our choice for fore-and-aft symmetry. Its transverse shape adds a fifth
// harmonic to the sine (from memory): a fifth less near the bow, at most 12 % more, at 40 to 65 degrees.
func Force(parts []Part, u10MS float64, offWind quantity.Angle, averagingS float64) (Load, error) {
	if err := checkSpeed(u10MS); err != nil {
		return Load{}, err
	}
	if err := quantity.Within("averaging time", averagingS, minAveragingS, maxAveragingS, "s"); err != nil {
		return Load{}, err
	}
	if err := quantity.Within("angle off the wind", offWind.Degrees(), -360, 360, "deg"); err != nil {
		return Load{}, err
	}
	along, across := alongShape(offWind.Radians()), math.Sin(offWind.Radians())
	var load Load
	for _, p := range parts {
		if err := p.check(); err != nil {
			return Load{}, err
		}
		q := p.ShapeCoefficient * pressure(at(u10MS, p.CentreHeightM, averagingS))
		acrossN := q * p.LateralAreaM2 * across
		load.AlongN += q * p.FrontalAreaM2 * along
		load.AcrossN += acrossN
		load.MomentNM += acrossN * p.CentreFromBowM
	}
	return load, nil
}

// alongShape is the force along the vessel over that of the same wind from ahead, by the wind's angle off
// the bow in rad: [sin g - sin(5 g)/10]/.9 with g = theta + 90 degrees.
func alongShape(theta float64) float64 { return (math.Cos(theta) - math.Cos(5*theta)/10) / 0.9 }

// HazenWindage returns the head-wind force in N on a sailing vessel by the windage term of an early
// velocity prediction: one coefficient on the front of the hull and on the mast, in a wind in m/s (0 to
// 61.7, that is 120 kn) the same at every height. A comparison for the sum over parts. Lengths in m, 0 to 100.
//
// Source: Hazen (1980), A model of sail aerodynamics for diverse rig types (from memory):
// Cd0 = 1.13 (B F + mast height x diameter).
func HazenWindage(speedMS, beamM, freeboardM, mastHeightM, mastDiameterM float64) (float64, error) {
	if err := checkSpeed(speedMS); err != nil {
		return 0, err
	}
	for _, c := range []struct {
		name string
		v    float64
	}{{"beam", beamM}, {"freeboard", freeboardM}, {"mast height", mastHeightM}, {"mast diameter", mastDiameterM}} {
		if err := quantity.Within(c.name, c.v, 0, 100, "m"); err != nil {
			return 0, err
		}
	}
	const cd = 1.13
	return cd * pressure(speedMS) * (beamM*freeboardM + mastHeightM*mastDiameterM), nil
}
