package geo_test

import (
	"testing"

	"rideout/service/physics/geo"
	"rideout/service/physics/internal/published"
	"rideout/service/physics/quantity"
)

func TestPublished(t *testing.T) {
	t.Parallel()
	published.Run(t, "geo", map[string]published.Calc{
		"geodesic_distance":      distance(geo.Inverse),
		"geodesic_initial":       initial(geo.Inverse),
		"geodesic_final":         final(geo.Inverse),
		"rhumb_distance":         distance(geo.Rhumb),
		"rhumb_initial":          initial(geo.Rhumb),
		"direct_latitude":        func(in published.Inputs) (float64, error) { p, _, err := followed(in); return p.LatitudeDeg(), err },
		"direct_longitude":       func(in published.Inputs) (float64, error) { p, _, err := followed(in); return p.LongitudeDeg(), err },
		"direct_final":           func(in published.Inputs) (float64, error) { _, a, err := followed(in); return a.Degrees(), err },
		"rhumb_direct_latitude":  func(in published.Inputs) (float64, error) { p, err := rhumbFollowed(in); return p.LatitudeDeg(), err },
		"rhumb_direct_longitude": func(in published.Inputs) (float64, error) { p, err := rhumbFollowed(in); return p.LongitudeDeg(), err },
	})
}

func TestDerived(t *testing.T) {
	t.Parallel()
	published.Run(t, "geo_derived", map[string]published.Calc{
		"geodesic_distance": distance(geo.Inverse),
		"rhumb_distance":    distance(geo.Rhumb),
		"rhumb_initial":     initial(geo.Rhumb),
		"plane_east":        func(in published.Inputs) (float64, error) { v, err := onPlane(in); return v.EastM, err },
		"plane_north":       func(in published.Inputs) (float64, error) { v, err := onPlane(in); return v.NorthM, err },
	})
}

type line func(a, b geo.Point) (geo.Course, error)

func distance(between line) published.Calc {
	return func(in published.Inputs) (float64, error) { c, err := course(in, between); return c.DistanceM, err }
}

func initial(between line) published.Calc {
	return func(in published.Inputs) (float64, error) {
		c, err := course(in, between)
		return c.Initial.Degrees(), err
	}
}

func final(between line) published.Calc {
	return func(in published.Inputs) (float64, error) {
		c, err := course(in, between)
		return c.Final.Degrees(), err
	}
}

func course(in published.Inputs, between line) (geo.Course, error) {
	a, err := given(in, "a")
	if err != nil {
		return geo.Course{}, err
	}
	b, err := given(in, "b")
	if err != nil {
		return geo.Course{}, err
	}
	return between(a, b)
}

func followed(in published.Inputs) (geo.Point, quantity.Angle, error) {
	a, err := given(in, "a")
	if err != nil {
		return geo.Point{}, 0, err
	}
	return geo.Direct(a, quantity.Degrees(in.Get("azimuth_deg")), in.Get("distance_m"))
}

func rhumbFollowed(in published.Inputs) (geo.Point, error) {
	a, err := given(in, "a")
	if err != nil {
		return geo.Point{}, err
	}
	return geo.RhumbDirect(a, quantity.Degrees(in.Get("azimuth_deg")), in.Get("distance_m"))
}

func onPlane(in published.Inputs) (geo.XY, error) {
	origin, err := given(in, "a")
	if err != nil {
		return geo.XY{}, err
	}
	b, err := given(in, "b")
	if err != nil {
		return geo.XY{}, err
	}
	return geo.NewPlane(origin).XY(b)
}

func given(in published.Inputs, which string) (geo.Point, error) {
	return geo.At(in.Get("latitude_"+which+"_deg"), in.Get("longitude_"+which+"_deg"))
}
