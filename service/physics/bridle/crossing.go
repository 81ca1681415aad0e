package bridle

import (
	"math"

	"rideout/service/physics/numeric"
)

// crossing is where the rode's line, drawn in the direction u, crosses the line between two points.
type crossing struct{ fore, aft, at, u vec }

func (x crossing) meeting(reach float64) vec { return x.at.plus(x.u.times(reach)) }

// legAngle falls from a straight angle at no reach toward nothing.
func (x crossing) legAngle(reach float64) float64 {
	j := x.meeting(reach)
	return x.fore.minus(j).angleTo(x.aft.minus(j))
}

// reachAt is the reach at which the legs stand at an angle in rad, some 15 degrees or more.
func (x crossing) reachAt(angle float64) float64 {
	apart := x.aft.minus(x.fore).length()
	// Seen from 4 times their distance the points stand within 15 degrees, from nearly nothing as
	// a straight angle.
	reach, err := numeric.Root(func(d float64) float64 { return x.legAngle(d) - angle }, 0, 4*apart, 1e-12*apart)
	if err != nil {
		return 4 * apart
	}
	return reach
}

// reachWithin is the reach at which the longer leg has a length; negative when none is so short.
func (x crossing) reachWithin(lengthM float64) float64 {
	most := math.Inf(1)
	for _, p := range []vec{x.fore, x.aft} {
		q := x.at.minus(p)
		along := q.dot(x.u)
		inside := lengthM*lengthM - q.dot(q) + along*along
		if inside < 0 {
			return -1
		}
		most = math.Min(most, math.Sqrt(inside)-along)
	}
	return most
}
