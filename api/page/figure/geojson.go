package figure

import (
	"encoding/json"
	"time"

	"rideout/service/physics/geo"
)

// feature is one of a GeoJSON collection (RFC 7946), its geometry as paths of positions.
type feature struct {
	properties map[string]any
	paths      [][]geo.Point
}

// features reads a collection. What is no position is left out: the plan was checked when it was made.
func features(collection json.RawMessage) []feature {
	var read struct {
		Features []struct {
			Properties map[string]any `json:"properties"`
			Geometry   struct {
				Coordinates any `json:"coordinates"`
			} `json:"geometry"`
		} `json:"features"`
	}
	if json.Unmarshal(collection, &read) != nil {
		return nil
	}
	var list []feature
	for _, f := range read.Features {
		one := feature{properties: f.Properties}
		one.collect(f.Geometry.Coordinates)
		list = append(list, one)
	}
	return list
}

// collect gathers the paths at whatever depth the geometry nests them.
func (f *feature) collect(at any) {
	list, ok := at.([]any)
	if !ok || len(list) == 0 {
		return
	}
	if p, ok := position(list); ok {
		f.paths = append(f.paths, []geo.Point{p})
		return
	}
	var path []geo.Point
	for _, item := range list {
		inner, _ := item.([]any)
		if p, ok := position(inner); ok {
			path = append(path, p)
		} else {
			f.collect(item)
		}
	}
	if len(path) > 0 {
		f.paths = append(f.paths, path)
	}
}

func position(pair []any) (geo.Point, bool) {
	if len(pair) < 2 {
		return geo.Point{}, false
	}
	longitude, isLongitude := pair[0].(float64)
	latitude, isLatitude := pair[1].(float64)
	if !isLongitude || !isLatitude {
		return geo.Point{}, false
	}
	p, err := geo.At(latitude, longitude)
	return p, err == nil
}

// text gives a property that is a text; empty if it is none.
func (f feature) text(name string) string {
	text, _ := f.properties[name].(string)
	return text
}

// number gives a property that is a number; 0 if it is none.
func (f feature) number(name string) float64 {
	v, _ := f.properties[name].(float64)
	return v
}

// times gives a property that is a list of instants.
func (f feature) times(name string) []time.Time {
	list, _ := f.properties[name].([]any)
	var times []time.Time
	for _, item := range list {
		text, _ := item.(string)
		if at, err := time.Parse(time.RFC3339, text); err == nil {
			times = append(times, at)
		}
	}
	return times
}
