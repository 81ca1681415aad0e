package coast_test

import (
	"errors"
	"math"
	"testing"

	"rideout/service/physics/coast"
	"rideout/service/physics/geo"
	"rideout/service/physics/internal/published"
)

var errNothing = errors.New("nothing there")

func TestPublished(t *testing.T) {
	t.Parallel()
	published.Run(t, "coast", map[string]published.Calc{
		"on_land":         onLand,
		"island_area_km2": islandArea,
		"strait_km":       strait,
		"remoteness_km":   remoteness,
	})
}

// The same figures out of the source's own text, by the script testdata/nearest.py, which shares nothing with this package.
func TestAgainstTheSource(t *testing.T) {
	t.Parallel()
	published.Run(t, "coast_derived", map[string]published.Calc{"nearest_shore_m": nearestShore})
}

func place(in published.Inputs) (geo.Point, error) {
	return geo.At(in.Get("latitude_deg"), in.Get("longitude_deg"))
}

func shores(in published.Inputs, radiusM float64) ([]coast.Line, error) {
	p, err := place(in)
	if err != nil {
		return nil, err
	}
	return coast.Near(geo.NewPlane(p), radiusM)
}

func onLand(in published.Inputs) (float64, error) {
	p, err := place(in)
	if err != nil {
		return 0, err
	}
	land, err := coast.OnLand(p)
	if land {
		return 1, err
	}
	return 0, err
}

func nearestShore(in published.Inputs) (float64, error) {
	lines, err := shores(in, coast.ReachM)
	if err != nil {
		return 0, err
	}
	_, distanceM, _, ok := coast.NewIndex(lines).Nearest(geo.XY{}, coast.ReachM)
	if !ok {
		return 0, errNothing
	}
	return distanceM, nil
}

// islandArea is that of the largest ring within 40 km: the islands of the checks lie each within one cell of the data.
func islandArea(in published.Inputs) (float64, error) {
	lines, err := shores(in, 40_000)
	largest := 0.0
	for _, l := range lines {
		if l.Points[0] == l.Points[len(l.Points)-1] {
			largest = math.Max(largest, math.Abs(areaM2(l.Points)))
		}
	}
	return largest / 1e6, err
}

func areaM2(ring []geo.XY) float64 {
	twice := 0.0
	for i := 1; i < len(ring); i++ {
		twice += ring[i-1].EastM*ring[i].NorthM - ring[i].EastM*ring[i-1].NorthM
	}
	return twice / 2
}

// strait is the least distance between the shores within a radius of two headlands.
func strait(in published.Inputs) (float64, error) {
	here, err := shorePoints(in.Get("latitude_deg"), in.Get("longitude_deg"), in.Get("radius_m"))
	if err != nil {
		return 0, err
	}
	there, err := shorePoints(in.Get("other_latitude_deg"), in.Get("other_longitude_deg"), in.Get("radius_m"))
	return leastKM(here, there), err
}

// remoteness is how far the nearest shore of an island is from a place out of reach of Near.
func remoteness(in published.Inputs) (float64, error) {
	from, err := place(in)
	if err != nil {
		return 0, err
	}
	shore, err := shorePoints(in.Get("island_latitude_deg"), in.Get("island_longitude_deg"), 20_000)
	return leastKM([]geo.Point{from}, shore), err
}

func shorePoints(latitudeDeg, longitudeDeg, radiusM float64) ([]geo.Point, error) {
	centre, err := geo.At(latitudeDeg, longitudeDeg)
	if err != nil {
		return nil, err
	}
	plane := geo.NewPlane(centre)
	lines, err := coast.Near(plane, radiusM)
	if err != nil {
		return nil, err
	}
	var points []geo.Point
	for _, l := range lines {
		for _, v := range l.Points {
			p, err := plane.Point(v)
			if err != nil {
				return nil, err
			}
			points = append(points, p)
		}
	}
	return points, nil
}

// leastKM is infinite where there is no shore, and NaN where a point is none.
func leastKM(from, to []geo.Point) float64 {
	least := math.Inf(1)
	for _, a := range from {
		for _, b := range to {
			course, err := geo.Inverse(a, b)
			if err != nil {
				return math.NaN()
			}
			least = math.Min(least, course.DistanceM/1000)
		}
	}
	return least
}
