// Package bridle computes at what heading a vessel lies to a canopy, and the two legs that make her lie at
// a wanted one.
//
// It is statics in the horizontal plane: the mean forces of wind, sea and water on the hull, one rode
// that takes their sum, legs without weight or stretch. What she does in between (yawing about on the
// waves, overshooting in a shift) is not in it.
//
// Frame: distances aft of the stem and to starboard of the centre line. A heading is the angle the wind
// comes from, seen from the bow, clockwise: positive with the wind to starboard, as in wind.Force. As the
// bow turns to starboard the heading falls, so a heading is stable where the turning moment (positive
// bow to starboard) rises with it.
package bridle

import (
	"math"

	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/physics/wind"
)

// Lying is a vessel that lies to a canopy in a weather. It is a value: copying and concurrent use are
// safe. The zero value is refused. Most callers want Set, Settle or Yaw.
type Lying struct {
	Hull             hull.Hull
	Parts            []wind.Part
	CanopyDragAreaM2 float64 // Cd0 times the nominal area
	Weather          Weather
	Tendency         Tendency
}

// Weather is the wind and what the sea brings.
type Weather struct {
	WindMS     float64        // 10 min mean at 10 m
	AveragingS float64        // of the wind's force; 0 for wind.DesignAveragingS, 600 to take WindMS as it is (a gust)
	HeadDriftN float64        // mean wave drift of the hull lying bow to the sea
	BeamDriftN float64        // the same beam-on
	SeaOffWind quantity.Angle // where the sea comes from, clockwise from where the wind comes from
}

// Point is a strong point. OffCentreM is positive to starboard.
type Point struct {
	Name       string
	FromBowM   float64 // aft of the stem
	OffCentreM float64
}

func (p Point) place() vec { return vec{p.FromBowM, -p.OffCentreM} }

// check wants the point on or just off the hull.
func (p Point) check(h hull.Hull) error {
	if err := quantity.Within("distance from the bow of "+p.Name, p.FromBowM, -0.2*h.LOAM, 1.2*h.LOAM, "m"); err != nil {
		return err
	}
	return quantity.Within("distance off the centre line of "+p.Name, p.OffCentreM, -h.BeamM, h.BeamM, "m")
}

// vec is a place or a force: aft and to port, so that the cross product is a moment with the bow to
// starboard positive.
type vec struct{ aft, port float64 }

func (a vec) plus(b vec) vec        { return vec{a.aft + b.aft, a.port + b.port} }
func (a vec) minus(b vec) vec       { return vec{a.aft - b.aft, a.port - b.port} }
func (a vec) times(k float64) vec   { return vec{a.aft * k, a.port * k} }
func (a vec) dot(b vec) float64     { return a.aft*b.aft + a.port*b.port }
func (a vec) cross(b vec) float64   { return a.aft*b.port - a.port*b.aft }
func (a vec) length() float64       { return math.Hypot(a.aft, a.port) }
func (a vec) angleTo(b vec) float64 { return math.Abs(math.Atan2(a.cross(b), a.dot(b))) }

// down is the direction away from an angle off the bow in rad, as a wind from there blows.
func down(offBow float64) vec { return vec{math.Cos(offBow), math.Sin(offBow)} }

// wrapped gives the same direction in -pi to pi.
func wrapped(angle float64) float64 { return math.Remainder(angle, 2*math.Pi) }

func signedSquare(x float64) float64 { return x * math.Abs(x) }
