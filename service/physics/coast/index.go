package coast

import (
	"math"

	"rideout/service/physics/geo"
)

// Index finds which line of many a step meets first, and which is nearest to a place. NewIndex makes it; the zero value holds
// no lines. It is only ever read, so it is safe to share; neither of its methods allocates.
//
// It is a grid of squares over the lines, of which each lists the segments that pass through it and knows
// how far the nearest square with any is: over open water most steps end with one look.
type Index struct{ g *grid }

// grid is counted in squares from its south-west corner, rows northward.
type grid struct {
	segments      []segment
	westM, southM float64
	squareM       float64
	columns, rows int
	starts        []int32  // where a square's list starts in lists; one more than squares
	lists         []int32  // of segments, rising within a square
	clear         []uint16 // rings of squares to the nearest with a segment; 0 is itself
}

const (
	squaresPerSegment = 4       // of 2 to 16 the steps hardly tell, and making takes longer with each square
	mostSquares       = 1 << 21 // 13 MB
	mostAlong         = 1 << 12
)

// NewIndex makes the index of lines. Points that are not finite, or farther than 1e8 m out, are left out together with the
// segments they end.
func NewIndex(lines []Line) Index {
	segments := segmentsOf(lines)
	if len(segments) == 0 {
		return Index{}
	}
	g := &grid{segments: segments}
	g.lay()
	g.list()
	g.measure()
	return Index{g}
}

func segmentsOf(lines []Line) []segment {
	count := 0
	for _, l := range lines {
		count += max(1, len(l.Points)-1)
	}
	segments := make([]segment, 0, count)
	for i, l := range lines {
		if len(l.Points) == 1 && usable(l.Points[0]) {
			segments = append(segments, segment{l.Points[0], l.Points[0], i})
		}
		for j := 1; j < len(l.Points); j++ {
			if usable(l.Points[j-1]) && usable(l.Points[j]) {
				segments = append(segments, segment{l.Points[j-1], l.Points[j], i})
			}
		}
	}
	return segments
}

// lay chooses the squares, so that there are about squaresPerSegment of them for each segment.
func (g *grid) lay() {
	low, high := g.segments[0].a, g.segments[0].a
	for _, s := range g.segments {
		low = geo.XY{EastM: min(low.EastM, s.a.EastM, s.b.EastM), NorthM: min(low.NorthM, s.a.NorthM, s.b.NorthM)}
		high = geo.XY{EastM: max(high.EastM, s.a.EastM, s.b.EastM), NorthM: max(high.NorthM, s.a.NorthM, s.b.NorthM)}
	}
	width, height := high.EastM-low.EastM, high.NorthM-low.NorthM
	squares := float64(min(squaresPerSegment*len(g.segments), mostSquares))
	g.squareM = max(math.Sqrt(width*height/squares), max(width, height)/mostAlong, 1)
	g.westM, g.southM = low.EastM, low.NorthM
	g.columns, g.rows = int(width/g.squareM)+1, int(height/g.squareM)+1
}

// slack is by how much, in squares, a segment is listed too widely, so that rounding hides none.
const slack = 1e-6

// list fills the lists in two passes: count, then place.
func (g *grid) list() {
	g.starts = make([]int32, g.columns*g.rows+1)
	g.each(func(square int, _ int32) { g.starts[square+1]++ })
	for i := range g.columns * g.rows {
		g.starts[i+1] += g.starts[i]
	}
	g.lists = make([]int32, g.starts[g.columns*g.rows])
	next := make([]int32, g.columns*g.rows)
	copy(next, g.starts)
	g.each(func(square int, s int32) {
		g.lists[next[square]] = s
		next[square]++
	})
}

// each calls visit with every square and every segment that passes through it.
func (g *grid) each(visit func(square int, s int32)) {
	for i := range g.segments {
		w := g.walk(&g.segments[i], slack)
		for row := w.firstRow; row <= w.lastRow; row++ {
			first, last := w.columns(row)
			for column := first; column <= last; column++ {
				visit(row*g.columns+column, int32(i))
			}
		}
	}
}

// measure finds for every square the rings to the nearest with a segment, in two sweeps.
func (g *grid) measure() {
	const most = math.MaxUint16 - 1 // one ring more must still fit
	g.clear = make([]uint16, g.columns*g.rows)
	at := func(row, column int) uint16 {
		if row < 0 || row >= g.rows || column < 0 || column >= g.columns {
			return most
		}
		return min(g.clear[row*g.columns+column], most)
	}
	for row := range g.rows {
		for column := range g.columns {
			if i := row*g.columns + column; g.starts[i] == g.starts[i+1] {
				g.clear[i] = 1 + min(at(row, column-1), at(row-1, column-1), at(row-1, column), at(row-1, column+1))
			}
		}
	}
	for row := g.rows - 1; row >= 0; row-- {
		for column := g.columns - 1; column >= 0; column-- {
			i := row*g.columns + column
			g.clear[i] = min(g.clear[i], 1+min(at(row, column+1), at(row+1, column+1), at(row+1, column), at(row+1, column-1)))
		}
	}
}
