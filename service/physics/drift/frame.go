package drift

import (
	"math"

	"rideout/service/physics/geo"
)

// frame turns velocities toward true east and north into velocities in the plane about its origin, where distance
// and direction from the origin are true and nothing else is. Away from the origin, north leans over (by 5
// degrees 200 km east of a start in 70 N) and lengths across the line of sight grow.
//
// Azimuths on the ellipsoid are those on the auxiliary sphere of reduced latitudes, where a length s is the arc
// sigma with d sigma/ds = 1/(a w), w = sqrt(1 - e2 cos2 beta). w is taken where half of the arc is. That,
// and the constant curvature across, is all that is approximated: off by less than 2e-6 rad or parts within
// 500 km of origins to 70 degrees, about 2e-5 within 1,000 km.
//
// Source: Karney (2013), J. Geodesy 87, 43-55, section 2, cut short.
type frame struct {
	sinBeta, cosBeta float64 // reduced latitude of the origin
	curvature        float64 // Gaussian, 1/m2
}

func frameAbout(origin geo.Point) frame {
	sin, cos := math.Sincos(origin.Latitude.Radians())
	w2 := 1 - geo.Eccentricity2*sin*sin
	sinBeta, cosBeta := (1-geo.Flattening)*sin, cos
	r := math.Hypot(sinBeta, cosBeta)
	return frame{sinBeta / r, cosBeta / r, w2 * w2 / (geo.EquatorialRadiusM * geo.EquatorialRadiusM * (1 - geo.Eccentricity2))}
}

// turn is the matrix from velocities (east, north) to velocities in the plane.
type turn struct{ ee, en, ne, nn float64 }

// at returns the turn at a place in the plane.
func (f *frame) at(p geo.XY) turn {
	s := math.Sqrt(p.EastM*p.EastM + p.NorthM*p.NorthM)
	if s < 1 {
		return turn{ee: 1, nn: 1}
	}
	sin1, cos1 := p.EastM/s, p.NorthM/s // of the azimuth at the origin
	arc := s / geo.EquatorialRadiusM
	middle := f.sinBeta + f.cosBeta*cos1*arc/2 // sine of the reduced latitude there
	arc /= math.Sqrt(1 - geo.Eccentricity2*(1-middle*middle))
	sinArc, cosArc := math.Sincos(arc)
	sin2, cos2 := f.cosBeta*sin1, f.cosBeta*cosArc*cos1-f.sinBeta*sinArc // of the azimuth at p, times cos beta there
	if r := math.Sqrt(sin2*sin2 + cos2*cos2); r > 0 {
		sin2, cos2 = sin2/r, cos2/r
	} else { // p is the pole: every way on leads along the line that came
		sin2, cos2 = sin1, cos1
	}
	q2 := s * s * f.curvature
	across := 1 + q2*(1./6+q2*7/360) // arc over its sine
	return turn{
		ee: sin2*sin1 + across*cos2*cos1,
		en: cos2*sin1 - across*sin2*cos1,
		ne: sin2*cos1 - across*cos2*sin1,
		nn: cos2*cos1 + across*sin2*sin1,
	}
}

// apply carries a place along for a time, at a velocity toward east and north.
func (m turn) apply(p geo.XY, eastMS, northMS, seconds float64) geo.XY {
	return geo.XY{
		EastM:  p.EastM + seconds*(m.ee*eastMS+m.en*northMS),
		NorthM: p.NorthM + seconds*(m.ne*eastMS+m.nn*northMS),
	}
}
