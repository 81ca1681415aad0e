package coast

import (
	"math"

	"rideout/service/physics/geo"
)

// OnLand tells whether a point is land, by the data: an island smaller than the data know is water, and so are lakes
// and the wider rivers; the floating ice of Antarctica is land. On the shore itself it may say either.
//
// It goes from the south-west corner of the point's cell north along its edge and then east to the point, and
// counts the shores on the way: each one turns land to water or water to land.
func (d Data) OnLand(p geo.Point) (bool, error) {
	if _, err := geo.At(p.LatitudeDeg(), p.LongitudeDeg()); err != nil {
		return false, err
	}
	if d.header.Rows == 0 {
		return false, nil
	}
	c, east, north := d.holding(p)
	land := c.cornerIsLand
	r := c.pieces()
	for r.next() {
		for i, a := range r.points {
			if (i == 0 || i == len(r.points)-1) && a.east == 0 && float64(a.north) <= north {
				land = !land // the shore comes through the western edge below the point
			}
			if i > 0 && crosses(r.points[i-1], a, east, north) {
				land = !land
			}
		}
	}
	return land, r.err
}

// holding gives the cell that holds a point, and where in it the point lies in units of its grid. Cells hold their
// southern and western edges; the north pole is kept a hair within the last.
func (d Data) holding(p geo.Point) (c cell, east, north float64) {
	size := 180 / float64(d.header.Rows)
	longitude := p.LongitudeDeg()
	if longitude < 0 {
		longitude += 360
	}
	row := d.header.Rows - 1 - min(int((p.LatitudeDeg()+90)/size), d.header.Rows-1)
	column := min(int(longitude/size), d.header.Columns-1)
	c = d.cell(row, column)
	unit := unitsPerCell / size
	east = math.Max(0, (longitude-c.westDeg)*unit)
	north = math.Max(0, math.Min((p.LatitudeDeg()-c.southDeg)*unit, unitsPerCell-1e-6))
	return c, east, north
}

// crosses tells whether the shore from a to b crosses the line from the western edge east to a point. A point level
// with an end of the shore is taken as a hair north of it, so each end is counted once.
func crosses(a, b grain, east, north float64) bool {
	if (float64(a.north) > north) == (float64(b.north) > north) {
		return false
	}
	along := (north - float64(a.north)) / float64(b.north-a.north)
	return float64(a.east)+along*float64(b.east-a.east) < east
}
