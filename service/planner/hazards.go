package planner

import (
	"encoding/json"
	"fmt"
	"math"

	"rideout/service/physics/coast"
	"rideout/service/physics/geo"
)

// pointHazardM is the radius of a hazard given as a point without one, our choice: a rock and the breakers about it.
const pointHazardM = 500.0

// hazardCorners is how many corners the ring about a point hazard has.
const hazardCorners = 24

// feature is what is read of a GeoJSON feature; its shape has been checked at the edge.
type feature struct {
	Properties struct {
		Name    string  `json:"name"`
		RadiusM float64 `json:"radius_m"`
	} `json:"properties"`
	Geometry struct {
		Type        string          `json:"type"`
		Coordinates json.RawMessage `json:"coordinates"`
	} `json:"geometry"`
}

// hazardLines are the caller's hazards as lines in a plane. A point is a ring about it; what lies beyond the
// plane's reach is left out.
func hazardLines(collection []byte, plane geo.Plane) ([]coast.Line, error) {
	if len(collection) == 0 {
		return nil, nil
	}
	var sent struct {
		Features []feature `json:"features"`
	}
	if err := json.Unmarshal(collection, &sent); err != nil {
		return nil, fmt.Errorf("read the hazards: %w", err)
	}
	var lines []coast.Line
	for i, f := range sent.Features {
		name := f.Properties.Name
		if name == "" {
			name = fmt.Sprintf("hazard %d", i+1)
		}
		shapes, err := f.shapes()
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", name, err)
		}
		for _, shape := range shapes {
			if l, ok := lineOf(name, shape, f.Properties.RadiusM, plane); ok {
				lines = append(lines, l)
			}
		}
	}
	return lines, nil
}

// shapes are the lists of positions of a geometry: a point is a list of one.
func (f feature) shapes() (shapes [][][]float64, err error) {
	raw := f.Geometry.Coordinates
	switch f.Geometry.Type {
	case "Point":
		var p []float64
		err = json.Unmarshal(raw, &p)
		shapes = [][][]float64{{p}}
	case "MultiPoint":
		var ps [][]float64
		err = json.Unmarshal(raw, &ps)
		for _, p := range ps {
			shapes = append(shapes, [][]float64{p})
		}
	case "LineString":
		var l [][]float64
		err = json.Unmarshal(raw, &l)
		shapes = [][][]float64{l}
	case "MultiLineString", "Polygon":
		err = json.Unmarshal(raw, &shapes)
	case "MultiPolygon":
		var ps [][][][]float64
		err = json.Unmarshal(raw, &ps)
		for _, p := range ps {
			shapes = append(shapes, p...)
		}
	}
	return shapes, err
}

func lineOf(name string, positions [][]float64, radiusM float64, plane geo.Plane) (coast.Line, bool) {
	l := coast.Line{Name: name}
	for _, p := range positions {
		if len(p) < 2 {
			return l, false
		}
		q, err := geo.At(p[1], p[0])
		if err != nil {
			return l, false
		}
		xy, err := plane.XY(q)
		if err != nil {
			return l, false
		}
		l.Points = append(l.Points, xy)
	}
	if len(l.Points) == 1 {
		if radiusM <= 0 {
			radiusM = pointHazardM
		}
		l.Points = ringAbout(l.Points[0], radiusM)
	}
	return l, len(l.Points) > 1
}

func ringAbout(centre geo.XY, radiusM float64) []geo.XY {
	ring := make([]geo.XY, hazardCorners+1)
	for i := range ring {
		a := 2 * math.Pi * float64(i%hazardCorners) / hazardCorners
		ring[i] = geo.XY{EastM: centre.EastM + radiusM*math.Sin(a), NorthM: centre.NorthM + radiusM*math.Cos(a)}
	}
	return ring
}
