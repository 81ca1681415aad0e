package planner

import (
	"encoding/json"
	"math"

	"rideout/service/physics/geo"
)

// collection is a GeoJSON feature collection (RFC 7946).
type collection struct {
	Type     string        `json:"type"`
	Features []featureMade `json:"features"`
}

type featureMade struct {
	Type       string         `json:"type"`
	Properties map[string]any `json:"properties"`
	Geometry   geometry       `json:"geometry"`
}

type geometry struct {
	Type        string `json:"type"`
	Coordinates any    `json:"coordinates"`
}

func encoded(features []featureMade) (json.RawMessage, error) {
	if features == nil {
		features = []featureMade{}
	}
	return json.Marshal(collection{"FeatureCollection", features})
}

func featureOf(g geometry, properties map[string]any) featureMade {
	return featureMade{"Feature", properties, g}
}

// position is longitude and latitude to 1e-5 degrees, about a metre.
type position [2]float64

func positionOf(p geo.Point) position {
	return position{round5(p.LongitudeDeg()), round5(p.LatitudeDeg())}
}

func round5(x float64) float64 { return math.Round(x*1e5) / 1e5 }

// unwrapped are positions whose longitudes do not jump where they pass the date line.
func unwrapped(points []geo.Point) []position {
	way := make([]position, len(points))
	for i, p := range points {
		way[i] = positionOf(p)
		if i > 0 {
			way[i][0] += 360 * math.Round((way[i-1][0]-way[i][0])/360)
		}
	}
	return way
}

// wayOf is a line through points, cut at the date line as RFC 7946 asks (3.1.9).
func wayOf(points []geo.Point) geometry {
	parts := [][]position{}
	for _, part := range cutAtDateLine(unwrapped(points), false) {
		if len(part) > 1 {
			parts = append(parts, part)
		}
	}
	switch len(parts) {
	case 0: // she does not move: a line of two equal positions
		p := positionOf(points[0])
		return geometry{"LineString", []position{p, p}}
	case 1:
		return geometry{"LineString", parts[0]}
	}
	return geometry{"MultiLineString", parts}
}

// areaOf is a convex closed ring, cut at the date line.
func areaOf(ring []geo.Point) geometry {
	parts := cutAtDateLine(unwrapped(ring), true)
	if len(parts) == 1 {
		return geometry{"Polygon", parts}
	}
	polygons := make([][][]position, len(parts))
	for i, p := range parts {
		polygons[i] = [][]position{p}
	}
	return geometry{"MultiPolygon", polygons}
}

// cutAtDateLine cuts an unwrapped way into its parts on either side of the date line it passes.
func cutAtDateLine(way []position, closed bool) [][]position {
	line, passes := 0.0, false
	for _, p := range way {
		if math.Abs(p[0]) > 180 {
			line, passes = math.Copysign(180, p[0]), true
		}
	}
	if !passes {
		return [][]position{way}
	}
	if closed {
		return [][]position{shifted360(clip(way, line, -1)), shifted360(clip(way, line, 1))}
	}
	parts := [][]position{{way[0]}}
	for i := 1; i < len(way); i++ {
		a, b := way[i-1], way[i]
		last := len(parts) - 1
		if (a[0] < line) != (b[0] < line) {
			at := crossing(a, b, line)
			parts[last] = append(parts[last], at)
			parts = append(parts, []position{at})
			last++
		}
		parts[last] = append(parts[last], b)
	}
	for i := range parts {
		parts[i] = shifted360(parts[i])
	}
	return parts
}

// clip keeps the part of a convex ring on one side of a meridian (Sutherland and Hodgman, 1974).
func clip(ring []position, line, side float64) []position {
	inside := func(p position) bool { return side*(p[0]-line) >= 0 }
	var kept []position
	for i := 1; i < len(ring); i++ {
		a, b := ring[i-1], ring[i]
		if inside(a) {
			kept = append(kept, a)
		}
		if inside(a) != inside(b) {
			kept = append(kept, crossing(a, b, line))
		}
	}
	if len(kept) > 0 {
		kept = append(kept, kept[0])
	}
	return kept
}

func crossing(a, b position, line float64) position {
	t := (line - a[0]) / (b[0] - a[0])
	return position{line, round5(a[1] + t*(b[1]-a[1]))}
}

// shifted360 brings a part that lies beyond the date line back within -180 to 180.
func shifted360(part []position) []position {
	sum := 0.0
	for _, p := range part {
		sum += p[0]
	}
	turn := 360 * math.Round(sum/float64(max(len(part), 1))/360)
	back := make([]position, len(part))
	for i, p := range part {
		back[i] = position{round5(p[0] - turn), p[1]}
	}
	return back
}
