// Package geo gives points, lines and distances on the WGS 84 ellipsoid: the shortest line between two
// points, the line of constant course, and a plane of metres about an origin.
//
// Latitudes are geographic, north positive; longitudes east positive, in [-180, 180) degrees. Azimuths are
// clockwise from true north, in [0, 2 pi), and toward where the line goes. Heights are not modelled: a line lies on
// the ellipsoid, and the sea stands within about 110 m of it.
package geo

import (
	"math"

	"rideout/service/physics/quantity"
)

// Point is a place on the ellipsoid. The zero value is a real place, on the equator at Greenwich, so it never
// stands for an unknown one. At makes one from degrees and checks it; every function of this package
// refuses a point that was put together with a latitude or longitude out of range.
type Point struct{ Latitude, Longitude quantity.Angle }

// At makes a point from degrees: latitude -90 to 90, longitude -180 to 180, where 180 becomes -180.
func At(latitudeDeg, longitudeDeg float64) (Point, error) {
	if err := quantity.Within("latitude", latitudeDeg, -90, 90, "deg"); err != nil {
		return Point{}, err
	}
	if err := quantity.Within("longitude", longitudeDeg, -180, 180, "deg"); err != nil {
		return Point{}, err
	}
	return Point{quantity.Degrees(latitudeDeg), eastOf(0, longitudeDeg*math.Pi/180)}, nil
}

// LatitudeDeg gives the latitude in degrees, north positive.
func (p Point) LatitudeDeg() float64 { return p.Latitude.Degrees() }

// LongitudeDeg gives the longitude in degrees, east positive, in [-180, 180).
func (p Point) LongitudeDeg() float64 { return p.Longitude.Degrees() }

func (p Point) check() error {
	if err := quantity.Within("latitude", p.LatitudeDeg(), -90, 90, "deg"); err != nil {
		return err
	}
	return quantity.Within("longitude", p.LongitudeDeg(), -180, 180, "deg")
}

func checkBoth(a, b Point) error {
	if err := a.check(); err != nil {
		return err
	}
	return b.check()
}

// eastOf gives the longitude so many radians east of another, in [-pi, pi).
func eastOf(longitude quantity.Angle, rad float64) quantity.Angle {
	east := longitude.Radians() + rad
	if !(east >= -math.Pi && east < math.Pi) {
		east = math.Remainder(east, 2*math.Pi)
	}
	if east >= math.Pi {
		east = -math.Pi
	}
	return quantity.Angle(east)
}

// Course is a line between two points: its length in m, and its azimuths where it leaves and where it arrives.
// The final azimuth is the direction in which the line goes on. Between coincident points all three are zero.
type Course struct {
	DistanceM      float64
	Initial, Final quantity.Angle
}

func azimuth(sin, cos float64) quantity.Angle {
	return quantity.Angle(math.Atan2(sin, cos)).Normalised()
}
