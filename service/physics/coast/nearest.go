package coast

import "rideout/service/physics/geo"

// Nearest tells which line comes nearest to a place, its distance in m, and the point of it that does: the number of the
// line among those NewIndex was given, the lower where two are as near. ok is false where none is within withinM,
// or where the place is not finite or farther than 1e8 m out.
//
// It looks at squares ring by ring about the place, from the first ring that can hold a line.
func (x Index) Nearest(p geo.XY, withinM float64) (line int, distanceM float64, at geo.XY, ok bool) {
	g := x.g
	if g == nil || !usable(p) || !(withinM >= 0) {
		return 0, 0, geo.XY{}, false
	}
	n := search{g: g, p: p, best: -1, distanceM: withinM}
	n.column, n.row = floor((p.EastM-g.westM)/g.squareM), floor((p.NorthM-g.southM)/g.squareM)
	last := max(n.column, g.columns-1-n.column, n.row, g.rows-1-n.row)
	// what a ring holds is at least one square less away than its number
	for ring := n.firstRing(); ring <= last && float64(ring-1)*g.squareM <= n.distanceM; ring++ {
		n.ring(ring)
	}
	if n.best < 0 {
		return 0, 0, geo.XY{}, false
	}
	s := g.segments[n.best]
	return s.line, n.distanceM, s.nearest(p), true
}

// search is a search for the segment nearest to p, which lies in a square of the grid or beyond it.
type search struct {
	g           *grid
	p           geo.XY
	column, row int
	best        int32
	distanceM   float64
}

func (n *search) firstRing() int {
	beyond := max(0, -n.column, n.column-(n.g.columns-1), -n.row, n.row-(n.g.rows-1))
	if beyond > 0 {
		return beyond
	}
	return int(n.g.clear[n.row*n.g.columns+n.column])
}

// ring looks at the squares so many steps away, those of them on the grid; k is enough to reach it.
func (n *search) ring(k int) {
	west, east := max(0, n.column-k), min(n.g.columns-1, n.column+k)
	for row := max(0, n.row-k); row <= min(n.g.rows-1, n.row+k); row++ {
		if row == n.row-k || row == n.row+k {
			n.look(row, west, east)
			continue
		}
		if n.column-k >= 0 {
			n.look(row, n.column-k, n.column-k)
		}
		if n.column+k < n.g.columns {
			n.look(row, n.column+k, n.column+k)
		}
	}
}

// look tries the segments of some squares of a row.
func (n *search) look(row, first, last int) {
	squares := row * n.g.columns
	for _, s := range n.g.lists[n.g.starts[squares+first]:n.g.starts[squares+last+1]] {
		d := n.g.segments[s].distanceM(n.p)
		if d < n.distanceM || (d == n.distanceM && (n.best < 0 || s < n.best)) {
			n.best, n.distanceM = s, d
		}
	}
}
