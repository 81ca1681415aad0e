package figure

import (
	"encoding/json"
	"fmt"

	"rideout/api/page/measure"
	"rideout/service/physics/geo"
)

// feature is one of a GeoJSON collection (RFC 7946), its geometry as paths of positions.
type feature struct {
	kind       string
	properties map[string]any
	paths      [][]geo.Point
}

// features reads a collection. What is no position is left out: the plan was checked when it was made.
func features(collection json.RawMessage) []feature {
	var read struct {
		Features []struct {
			Properties map[string]any `json:"properties"`
			Geometry   struct {
				Type        string `json:"type"`
				Coordinates any    `json:"coordinates"`
			} `json:"geometry"`
		} `json:"features"`
	}
	if json.Unmarshal(collection, &read) != nil {
		return nil
	}
	var list []feature
	for _, f := range read.Features {
		one := feature{kind: f.Geometry.Type, properties: f.Properties}
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

// text gives the first of the properties that is there, as words.
func (f feature) text(names ...string) string {
	for _, name := range names {
		switch v := f.properties[name].(type) {
		case string:
			return v
		case float64:
			if v > 0 && v < 1 {
				return measure.Percent(v)
			}
			return fmt.Sprint(v)
		}
	}
	return ""
}

// number gives a property that is a number.
func (f feature) number(names ...string) (float64, bool) {
	for _, name := range names {
		if v, ok := f.properties[name].(float64); ok {
			return v, true
		}
	}
	return 0, false
}
