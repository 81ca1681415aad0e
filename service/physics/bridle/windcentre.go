package bridle

import (
	"math"

	"rideout/service/physics/quantity"
	"rideout/service/physics/wind"
)

// Wind returns the wind's load at a heading (-180 to 180 degrees): that of wind.Force with its lateral
// force moved forward of the centre of each part by WindCentreShift, for each radian forward of abeam,
// of the part's length l times one less its breadth over length:
//
//	shift = WindCentreShift (pi/2 - |heading|) l (1 - AF/AL),  l = min(LOA, beam AL/AF)
//
// For a plate along the whole hull this is Blendermann's formula; at small angles its centre is then 22 % of the
// length from the leading edge, where that of a thin aerofoil is 25 %. A square block or a mast has no
// shift, by symmetry; the factor between them is our own. Source: WindCentreShift.
func (y Lying) Wind(heading quantity.Angle) (wind.Load, error) {
	m, err := y.model()
	if err != nil {
		return wind.Load{}, err
	}
	if err := quantity.Within("heading off the wind", heading.Degrees(), -180, 180, "deg"); err != nil {
		return wind.Load{}, err
	}
	return m.wind(heading.Radians()), nil
}

func (m model) wind(psi float64) wind.Load {
	forward := m.Tendency.of(WindCentreShift) * (math.Pi/2 - math.Abs(wrapped(psi)))
	var sum wind.Load
	for i, p := range m.Parts {
		// The model's check has passed these parts and this wind: no error is left.
		one, _ := wind.Force(m.Parts[i:i+1], m.Weather.WindMS, quantity.Angle(wrapped(psi)), m.Weather.AveragingS)
		sum.AlongN += one.AlongN
		sum.AcrossN += one.AcrossN
		sum.MomentNM += one.MomentNM - one.AcrossN*forward*m.slenderM(p)
	}
	return sum
}

// slenderM is the length of a part by which the wind's centre moves.
func (m model) slenderM(p wind.Part) float64 {
	if p.LateralAreaM2 <= p.FrontalAreaM2 {
		return 0
	}
	slenderness := p.FrontalAreaM2 / p.LateralAreaM2
	return math.Min(m.Hull.LOAM, m.Hull.BeamM/slenderness) * (1 - slenderness)
}
