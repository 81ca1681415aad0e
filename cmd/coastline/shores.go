package main

import "fmt"

// shores is the world in cells of equal degrees, rows from the north pole, columns eastward from Greenwich.
type shores struct {
	version       string
	columns, rows int
	cells         []cell
}

// cell is one of them: whether its south-west corner is land, and the pieces of shore in it.
type cell struct {
	land   bool
	pieces []piece
}

// piece is a run of shore within a cell. Its level is 1 for the sea's shore, 2 for a lake's, 3 for an
// island's in a lake and 4 for a pond's on such an island. Points are in 65535ths of the cell from its south-west corner.
type piece struct {
	level  int
	points [][2]int
}

// groundingLine is the level of the edge of Antarctica under its floating ice. A vessel meets the front of the
// ice, which is level 1 like any shore, so this line is left out.
const groundingLine = 6

// sorted puts the lists of a dump in order. A segment's number holds its points, level, and the sides of the cell where it
// begins and ends; the sides are not needed, since the points lie on them.
//
// Source: GMT, gmt_shore.c, gmt_get_shore_bin, for the bits; bins run from the north-west.
func sorted(d dumped) (shores, error) {
	s := shores{version: d.version, columns: d.lists[columnCount][0], rows: d.lists[rowCount][0]}
	if s.columns != 2*s.rows {
		return s, fmt.Errorf("%d columns by %d rows are not cells of equal degrees", s.columns, s.rows)
	}
	for i := range s.columns * s.rows {
		c, err := d.cell(i)
		if err != nil {
			return s, fmt.Errorf("cell %d: %w", i, err)
		}
		s.cells = append(s.cells, c)
	}
	return s, nil
}

func (d dumped) cell(i int) (cell, error) {
	first, err := d.at(firstSegment, i)
	if err != nil {
		return cell{}, err
	}
	count, err := d.at(segmentCount, i)
	if err != nil {
		return cell{}, err
	}
	corners, err := d.at(cornerLevels, i)
	if err != nil {
		return cell{}, err
	}
	// the south-west corner is the first of four, three bits each; odd levels are land
	c := cell{land: corners>>9&1 == 1}
	for k := first; k < first+count; k++ {
		p, err := d.piece(k)
		if err != nil {
			return cell{}, fmt.Errorf("segment %d: %w", k, err)
		}
		if p.level != groundingLine {
			c.pieces = append(c.pieces, p)
		}
	}
	return c, nil
}

func (d dumped) piece(k int) (piece, error) {
	info, err := d.at(segmentInfo, k)
	if err != nil {
		return piece{}, err
	}
	start, err := d.at(firstPoint, k)
	if err != nil {
		return piece{}, err
	}
	p := piece{level: info >> 6 & 7, points: make([][2]int, info>>9)}
	if len(p.points) < 2 || p.level < 1 || (p.level > 4 && p.level != groundingLine) {
		return piece{}, fmt.Errorf("%d points of level %d", len(p.points), p.level)
	}
	for j := range p.points {
		x, errX := d.at(east, start+j)
		y, errY := d.at(north, start+j)
		if errX != nil || errY != nil {
			return piece{}, fmt.Errorf("point %d is missing", start+j)
		}
		// 16 bits without a sign, which netCDF-3 could not say
		p.points[j] = [2]int{x & 0xffff, y & 0xffff}
	}
	return p, nil
}

func (d dumped) at(name string, i int) (int, error) {
	if list := d.lists[name]; i >= 0 && i < len(list) {
		return list[i], nil
	}
	return 0, fmt.Errorf("%s has no number %d", name, i)
}
