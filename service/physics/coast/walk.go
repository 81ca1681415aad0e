package coast

import "math"

// walk is a segment in squares of the grid, from its southern end: which squares of each row it passes through.
type walk struct {
	east0, north0, east1, north1 float64
	slack                        float64
	firstRow, lastRow, most      int // rows within the grid, and its last column
}

func (g *grid) walk(s *segment, slack float64) walk {
	w := walk{
		east0: (s.a.EastM - g.westM) / g.squareM, north0: (s.a.NorthM - g.southM) / g.squareM,
		east1: (s.b.EastM - g.westM) / g.squareM, north1: (s.b.NorthM - g.southM) / g.squareM,
		slack: slack, most: g.columns - 1,
	}
	if w.north0 > w.north1 {
		w.east0, w.north0, w.east1, w.north1 = w.east1, w.north1, w.east0, w.north0
	}
	w.firstRow = max(0, floor(w.north0-slack))
	w.lastRow = min(g.rows-1, floor(w.north1+slack))
	return w
}

// columns gives the first and last square of a row; the first is the larger where there are none.
func (w *walk) columns(row int) (int, int) {
	a, b := w.east0, w.east1
	if w.lastRow > w.firstRow || w.north0 < 0 { // else the row holds all of it
		a, b = w.at(float64(row)-w.slack), w.at(float64(row+1)+w.slack)
	}
	if a > b {
		a, b = b, a
	}
	return max(0, floor(a-w.slack)), min(w.most, floor(b+w.slack))
}

// at is how far east the segment is at a height, or at its end if it does not reach so far.
func (w *walk) at(north float64) float64 {
	switch {
	case north <= w.north0:
		return w.east0
	case north >= w.north1:
		return w.east1
	}
	return w.east0 + (w.east1-w.east0)*((north-w.north0)/(w.north1-w.north0))
}

// floor is the square a coordinate lies in; the bounds of usable keep it within int.
func floor(squares float64) int { return int(math.Floor(squares)) }
