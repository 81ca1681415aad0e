package coast

import (
	"math"

	"rideout/service/physics/geo"
)

// segment is a straight piece of a line; a and b may be the same.
type segment struct {
	a, b geo.XY
	line int
}

// farthestM bounds the coordinates an index takes, in m: several times round the earth, and small enough that no
// product of them overflows.
const farthestM = 1e8

// usable is false of what is not finite, too.
func usable(p geo.XY) bool {
	return math.Abs(p.EastM) <= farthestM && math.Abs(p.NorthM) <= farthestM
}

// nearest gives the point of the segment nearest to p.
func (s segment) nearest(p geo.XY) geo.XY {
	east, north := s.b.EastM-s.a.EastM, s.b.NorthM-s.a.NorthM
	along := (p.EastM-s.a.EastM)*east + (p.NorthM-s.a.NorthM)*north
	length2 := east*east + north*north
	switch {
	case along <= 0:
		return s.a
	case along >= length2:
		return s.b
	}
	t := along / length2
	return geo.XY{EastM: s.a.EastM + t*east, NorthM: s.a.NorthM + t*north}
}

func (s segment) distanceM(p geo.XY) float64 {
	n := s.nearest(p)
	return math.Hypot(n.EastM-p.EastM, n.NorthM-p.NorthM)
}

// side is twice the area of the triangle from a to b to p: positive where p is to the left.
func (s *segment) side(p geo.XY) float64 {
	return (s.b.EastM-s.a.EastM)*(p.NorthM-s.a.NorthM) - (s.b.NorthM-s.a.NorthM)*(p.EastM-s.a.EastM)
}

// met gives where along a step, in [0, 1], it first touches s. Ends touch: a step that passes through the
// point where two segments join meets both, so no step slips between them; and since an end of one step
// and the beginning of the next give the same side bit for bit, none slips through between two steps either.
func (s *segment) met(step *segment) (float64, bool) {
	a, b := step.side(s.a), step.side(s.b)
	if (a > 0 && b > 0) || (a < 0 && b < 0) {
		return 0, false
	}
	from, to := s.side(step.a), s.side(step.b)
	if (from > 0 && to > 0) || (from < 0 && to < 0) {
		return 0, false
	}
	if from == to {
		return s.metAlong(step)
	}
	return from / (from - to), true
}

// metAlong is met for a step on the segment's own line, or one of no length.
func (s *segment) metAlong(step *segment) (float64, bool) {
	east, north := step.b.EastM-step.a.EastM, step.b.NorthM-step.a.NorthM
	length2 := east*east + north*north
	if length2 == 0 {
		return 0, s.nearest(step.a) == step.a
	}
	at := func(p geo.XY) float64 {
		return ((p.EastM-step.a.EastM)*east + (p.NorthM-step.a.NorthM)*north) / length2
	}
	first, last := at(s.a), at(s.b)
	if first > last {
		first, last = last, first
	}
	return math.Max(0, first), first <= 1 && last >= 0
}
