package geo

import (
	"math"

	"rideout/service/physics/quantity"
)

const planeReachM = 10_000_000.0

// XY is a place on a Plane, in m east and north of its origin.
type XY struct{ EastM, NorthM float64 }

// Plane is the azimuthal equidistant plane about an origin: a point lies at its geodesic distance and azimuth from
// the origin, so both are exact. Lengths across the line from the origin are drawn too long, by about 1 + s2/(6 R2)
// at distance s: 4e-6 at 30 km, 1e-4 at 150 km, 1e-3 at 500 km, 4e-3 at 1,000 km. It reaches 10,000 km.
//
// The zero value is the plane about the zero Point. It is a value and safe to share.
type Plane struct {
	origin Point
}

// NewPlane makes the plane about an origin.
func NewPlane(origin Point) Plane { return Plane{origin} }

// Origin gives the point that lies at zero.
func (p Plane) Origin() Point { return p.origin }

// XY gives where a point within 10,000 km lies on the plane.
func (p Plane) XY(q Point) (XY, error) {
	if err := checkBoth(p.origin, q); err != nil {
		return XY{}, err
	}
	lambda12 := eastOf(q.Longitude, -p.origin.Longitude.Radians()).Radians()
	l := shortest(p.origin.reduced(), q.reduced(), lambda12)
	if err := quantity.Within("distance from the plane's origin", l.distanceM, 0, planeReachM, "m"); err != nil {
		return XY{}, err
	}
	return XY{l.distanceM * l.alpha1.sin, l.distanceM * l.alpha1.cos}, nil
}

// Point gives the point that lies at a place of the plane, within 10,000 km of the origin.
func (p Plane) Point(v XY) (Point, error) {
	s := math.Hypot(v.EastM, v.NorthM)
	if err := quantity.Within("distance from the plane's origin", s, 0, planeReachM, "m"); err != nil {
		return Point{}, err
	}
	q, _, err := Direct(p.origin, quantity.Angle(math.Atan2(v.EastM, v.NorthM)), s)
	return q, err
}
