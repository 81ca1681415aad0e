package coast

import (
	"math"

	"rideout/service/physics/geo"
)

// Crossing tells which line a step from a to b touches first and where along the step, at in [0, 1]: the number of the line among
// those NewIndex was given, the lower where two are met at once. A step that only touches a line, or begins on one, has
// met it. ok is false where none is met, or where a or b is not finite or farther than 1e8 m out.
//
// It is exact to the rounding of double precision, about 1e-9 m for coordinates of 1000 km. It is made for steps of a few
// squares: the time grows with the squares a step goes through that lie near lines.
func (x Index) Crossing(a, b geo.XY) (line int, at float64, ok bool) {
	g := x.g
	if g == nil || !usable(a) || !usable(b) || g.inTheClear(a, b) {
		return 0, 0, false
	}
	step := segment{a: a, b: b}
	w := g.walk(&step, 0)
	best, first := int32(-1), math.MaxFloat64
	for row := w.firstRow; row <= w.lastRow; row++ {
		from, to := w.columns(row)
		if from > to {
			continue
		}
		squares := row * g.columns
		for _, s := range g.lists[g.starts[squares+from]:g.starts[squares+to+1]] {
			if t, met := g.segments[s].met(&step); met && (t < first || (t == first && s < best)) {
				best, first = s, t
			}
		}
	}
	if best < 0 {
		return 0, 0, false
	}
	return g.segments[best].line, min(first, 1), true
}

// inTheClear tells that a step keeps within squares without segments, by its beginning and its length alone.
func (g *grid) inTheClear(a, b geo.XY) bool {
	column, row := floor((a.EastM-g.westM)/g.squareM), floor((a.NorthM-g.southM)/g.squareM)
	if column < 0 || column >= g.columns || row < 0 || row >= g.rows {
		return false
	}
	reach := max(math.Abs(b.EastM-a.EastM), math.Abs(b.NorthM-a.NorthM))
	return reach < (float64(g.clear[row*g.columns+column])-1)*g.squareM
}
