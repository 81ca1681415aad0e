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
// Simplifications: one part does not shelter another; between ahead and abeam the frontal area bears
// with cos |cos| and the lateral with sin |sin|; no lift. Wind tunnels show the along-ship force to stay
// as high as from ahead, or higher, to some 30 degrees off the bow (from memory), where this law has three
// quarters of it: off the bow AlongN is on the low side, the resultant much less so.
// Roll and pitch are not taken in.
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
	sin, cos := math.Sincos(offWind.Radians())
	var load Load
	for _, p := range parts {
		if err := p.check(); err != nil {
			return Load{}, err
		}
		q := p.ShapeCoefficient * pressure(at(u10MS, p.CentreHeightM, averagingS))
		across := q * p.LateralAreaM2 * sin * math.Abs(sin)
		load.AlongN += q * p.FrontalAreaM2 * cos * math.Abs(cos)
		load.AcrossN += across
		load.MomentNM += across * p.CentreFromBowM
	}
	return load, nil
}

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
