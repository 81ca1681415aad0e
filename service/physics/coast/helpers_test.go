package coast_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"rideout/service/physics/coast"
	"rideout/service/physics/geo"
)

func at(t testing.TB, latitudeDeg, longitudeDeg float64) geo.Point {
	t.Helper()
	p, err := geo.At(latitudeDeg, longitudeDeg)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func planeAt(t testing.TB, latitudeDeg, longitudeDeg float64) geo.Plane {
	t.Helper()
	return geo.NewPlane(at(t, latitudeDeg, longitudeDeg))
}

func near(t testing.TB, plane geo.Plane, radiusM float64) []coast.Line {
	t.Helper()
	lines, err := coast.Near(plane, radiusM)
	if err != nil {
		t.Fatal(err)
	}
	return lines
}

// count gives the segments of lines.
func count(lines []coast.Line) int {
	n := 0
	for _, l := range lines {
		n += len(l.Points) - 1
	}
	return n
}

// anywhere gives a place in a square about the origin.
func anywhere(r *rand.Rand, halfM float64) geo.XY {
	return geo.XY{EastM: (2*r.Float64() - 1) * halfM, NorthM: (2*r.Float64() - 1) * halfM}
}

// ring is a closed line of so many sides.
func ring(centre geo.XY, radiusM float64, sides int) coast.Line {
	l := coast.Line{Name: "ring"}
	for i := range sides {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(sides))
		l.Points = append(l.Points, geo.XY{EastM: centre.EastM + radiusM*sin, NorthM: centre.NorthM + radiusM*cos})
	}
	l.Points = append(l.Points, l.Points[0])
	return l
}
