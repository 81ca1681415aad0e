package api

import (
	"strconv"

	"rideout/service"
)

// nesting is how deep the positions of a GeoJSON geometry lie in its coordinates, and the least
// number of positions a line of it has (RFC 7946, 3.1).
var nesting = map[string]struct {
	levels, least int
	closed        bool
}{
	"Point":           {levels: 0},
	"MultiPoint":      {levels: 1},
	"LineString":      {levels: 1, least: 2},
	"MultiLineString": {levels: 2, least: 2},
	"Polygon":         {levels: 2, least: 4, closed: true},
	"MultiPolygon":    {levels: 3, least: 4, closed: true},
}

// checkHazards checks the coordinates of a feature collection, which a schema cannot. What the
// contract refuses already is passed over.
func checkHazards(sent any) []service.FieldError {
	var problems []service.FieldError
	collection, _ := sent.(map[string]any)
	features, _ := collection["features"].([]any)
	for i, feature := range features {
		members, _ := feature.(map[string]any)
		geometry, _ := members["geometry"].(map[string]any)
		kind, _ := geometry["type"].(string)
		if n, known := nesting[kind]; known {
			at := "/hazards/features/" + strconv.Itoa(i) + "/geometry/coordinates"
			problems = checkPositions(problems, geometry["coordinates"], at, n.levels, n.least, n.closed)
		}
	}
	return problems
}

func checkPositions(problems []service.FieldError, value any, at string, levels, least int, closed bool) []service.FieldError {
	items, isList := value.([]any)
	switch {
	case !isList:
		return append(problems, service.FieldError{Pointer: at, Message: "must be a list, nested as the geometry's type asks", Fix: "send coordinates as RFC 7946 has them"})
	case levels == 0:
		return checkPosition(problems, items, at)
	case levels == 1 && len(items) < least:
		problems = append(problems, service.FieldError{Pointer: at, Message: "has too few positions", Fix: "send at least " + strconv.Itoa(least) + " positions"})
	case levels == 1 && closed && !samePosition(items[0], items[len(items)-1]):
		problems = append(problems, service.FieldError{Pointer: at, Message: "the ring is not closed", Fix: "repeat the first position at the end"})
	}
	for i, item := range items {
		problems = checkPositions(problems, item, at+"/"+strconv.Itoa(i), levels-1, least, closed)
	}
	return problems
}

func checkPosition(problems []service.FieldError, position []any, at string) []service.FieldError {
	const fix = "send [longitude, latitude] in degrees, longitude first"
	if len(position) < 2 || len(position) > 3 {
		return append(problems, service.FieldError{Pointer: at, Message: "must be a position of two or three numbers", Fix: fix})
	}
	for i, limit := range []float64{180, 90} {
		if deg, isNumber := position[i].(float64); !isNumber || deg < -limit || deg > limit {
			message := "must be a number from " + decimal(-limit) + " to " + decimal(limit) + " deg"
			problems = append(problems, service.FieldError{Pointer: at + "/" + strconv.Itoa(i), Message: message, Fix: fix})
		}
	}
	if len(position) == 3 {
		if _, isNumber := position[2].(float64); !isNumber {
			problems = append(problems, service.FieldError{Pointer: at + "/2", Message: "must be a number", Fix: "send a height in metres, or leave it out"})
		}
	}
	return problems
}

func samePosition(a, b any) bool {
	p, _ := a.([]any)
	q, _ := b.([]any)
	if len(p) < 2 || len(q) < 2 {
		return false
	}
	return p[0] == q[0] && p[1] == q[1]
}
