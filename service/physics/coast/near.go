package coast

import (
	"math"

	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
)

// names are those of the lines, by level.
var names = [...]string{1: "shore", 2: "shore of a lake or river", 3: "shore of an island in a lake", 4: "shore of a pond"}

// Radii of curvature of the ellipsoid (WGS 84), rounded outward, for bounds.
const (
	leastRadiusM    = 6_335_000.0 // along the meridian at the equator
	greatestRadiusM = 6_400_000.0 // at a pole
)

// Near returns the shores within a radius, 0 to ReachM in m, of the plane's origin, lakes' among them, as lines in
// that plane. It works across the date line and at the poles.
//
// The shores come in pieces, each within a cell of the data, and ends of neighbours meet exactly. A
// piece that leaves the radius is cut at the last point beyond it.
// Between points a line is straight in the plane, where the data are straight in degrees. At their middles the two stand
// e2 tan(latitude)/(8 R) apart for an extent e east: under 0.5 m for 99 segments in 100, 32 m for the worst.
func (d Data) Near(plane geo.Plane, radiusM float64) ([]Line, error) {
	if err := quantity.Within("radius", radiusM, 0, ReachM, "m"); err != nil {
		return nil, err
	}
	origin := plane.Origin()
	if _, err := geo.At(origin.LatitudeDeg(), origin.LongitudeDeg()); err != nil {
		return nil, err
	}
	var lines []Line
	for _, c := range d.within(origin, radiusM) {
		r := c.pieces()
		for r.next() {
			points, err := c.drawn(r.points, plane, radiusM)
			if err != nil {
				return nil, err
			}
			lines = cut(lines, names[r.level], points, radiusM)
		}
		if r.err != nil {
			return nil, r.err
		}
	}
	return lines, nil
}

// within gives the cells with shore that may come within a radius of a point, and some that do not.
func (d Data) within(p geo.Point, radiusM float64) []cell {
	if d.header.Rows == 0 {
		return nil
	}
	reach := 1.01 * radiusM / leastRadiusM // rad; the hundredth is for the ellipsoid
	reachDeg := reach * 180 / math.Pi
	meridianDeg := 180.0 // all of them, if a pole is in reach
	if s := math.Sin(reach) / math.Cos(p.Latitude.Radians()); math.Abs(p.LatitudeDeg())+reachDeg < 90 && s < 1 {
		meridianDeg = math.Asin(s) * 180 / math.Pi
	}
	size := 180 / float64(d.header.Rows)
	row := func(latitudeDeg float64) int {
		return max(0, min(int((90-latitudeDeg)/size), d.header.Rows-1))
	}
	var cells []cell
	for i := row(p.LatitudeDeg() + reachDeg); i <= row(p.LatitudeDeg()-reachDeg); i++ {
		for j := range d.header.Columns {
			c := d.cell(i, j)
			away := math.Abs(math.Remainder(c.westDeg+size/2-p.LongitudeDeg(), 360))
			if c.packed != "" && away <= meridianDeg+size/2 {
				cells = append(cells, c)
			}
		}
	}
	return cells
}

// drawn puts the points of a piece on the plane, or none if none can be within the radius.
func (c cell) drawn(points []grain, plane geo.Plane, radiusM float64) ([]geo.XY, error) {
	first, err := plane.XY(c.point(points[0]))
	if err != nil {
		return nil, err
	}
	if math.Hypot(first.EastM, first.NorthM)-c.spreadM(points) > radiusM {
		return nil, nil
	}
	drawn := make([]geo.XY, len(points))
	drawn[0] = first
	for i, p := range points[1:] {
		if drawn[i+1], err = plane.XY(c.point(p)); err != nil {
			return nil, err
		}
	}
	return drawn, nil
}

// point gives the place of a point of the cell's grid.
func (c cell) point(g grain) geo.Point {
	// multiplied first, so that the edge of a cell is its neighbour's to the last bit
	latitude := c.southDeg + float64(g.north)*c.sizeDeg/unitsPerCell
	longitude := c.westDeg + float64(g.east)*c.sizeDeg/unitsPerCell
	if longitude >= 180 {
		longitude -= 360
	}
	return geo.Point{Latitude: quantity.Degrees(latitude), Longitude: quantity.Degrees(longitude)}
}

// spreadM bounds how far the points lie from the first, by going along the meridian and then the parallel.
func (c cell) spreadM(points []grain) float64 {
	var east, north int32
	for _, p := range points {
		east = max(east, p.east-points[0].east, points[0].east-p.east)
		north = max(north, p.north-points[0].north, points[0].north-p.north)
	}
	unit := c.sizeDeg / unitsPerCell * math.Pi / 180
	return float64(east+north) * unit * greatestRadiusM
}

// cut adds to lines the runs of a polyline that come within the radius of the origin.
func cut(lines []Line, name string, points []geo.XY, radiusM float64) []Line {
	from := -1 // where the run began, or none
	for i := 1; i < len(points); i++ {
		near := segment{a: points[i-1], b: points[i]}.distanceM(geo.XY{}) <= radiusM
		if near && from < 0 {
			from = i - 1
		}
		if !near && from >= 0 {
			lines = append(lines, Line{name, points[from:i:i]})
			from = -1
		}
	}
	if from >= 0 {
		lines = append(lines, Line{name, points[from:]})
	}
	return lines
}
