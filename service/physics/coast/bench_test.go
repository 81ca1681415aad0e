package coast_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"rideout/service/physics/coast"
	"rideout/service/physics/geo"
)

// waters are where the shores are many: the first three are wanted quick, the last is the worst there is.
var waters = []struct {
	name                      string
	latitudeDeg, longitudeDeg float64
}{
	{"Norway", 60.4, 4.0},
	{"Aegean", 37.5, 25.2},
	{"Faroe", 62.3, -8.5},
	{"Archipelago Sea", 59.8, 20.5},
}

const radiusM = 300_000.0

func BenchmarkNear(b *testing.B) {
	for _, w := range waters {
		b.Run(w.name, func(b *testing.B) {
			plane := planeAt(b, w.latitudeDeg, w.longitudeDeg)
			segments := 0
			for b.Loop() {
				lines, err := coast.Near(plane, radiusM)
				if err != nil {
					b.Fatal(err)
				}
				segments = count(lines)
			}
			b.ReportMetric(float64(segments), "segments")
		})
	}
}

func BenchmarkNewIndex(b *testing.B) {
	for _, w := range waters {
		lines := near(b, planeAt(b, w.latitudeDeg, w.longitudeDeg), radiusM)
		b.Run(w.name, func(b *testing.B) { index(b, lines) })
	}
	for _, segments := range []int{12_500, 25_000, 50_000, 100_000, 200_000} {
		lines := archipelago(segments, radiusM)
		b.Run(fmt.Sprintf("%d segments", segments), func(b *testing.B) { index(b, lines) })
	}
}

func index(b *testing.B, lines []coast.Line) {
	for b.Loop() {
		coast.NewIndex(lines)
	}
	b.ReportMetric(float64(count(lines)), "segments")
}

func BenchmarkCrossing(b *testing.B) {
	for _, w := range waters {
		x := coast.NewIndex(near(b, planeAt(b, w.latitudeDeg, w.longitudeDeg), radiusM))
		for _, stepM := range []float64{100, 500, 2000} {
			b.Run(fmt.Sprintf("%s, steps of %g m", w.name, stepM), func(b *testing.B) { steps(b, x, stepM) })
		}
	}
}

// The same water with ever more shore in it.
func BenchmarkCrossingGrowth(b *testing.B) {
	for _, segments := range []int{12_500, 25_000, 50_000, 100_000, 200_000} {
		x := coast.NewIndex(archipelago(segments, radiusM))
		b.Run(fmt.Sprintf("%d segments", segments), func(b *testing.B) { steps(b, x, 500) })
	}
}

// steps go from places anywhere within the radius, ashore too, in any direction.
func steps(b *testing.B, x coast.Index, stepM float64) {
	const many = 1 << 16
	r := rand.New(rand.NewPCG(1, 2))
	from, to := make([]geo.XY, many), make([]geo.XY, many)
	for i := range from {
		from[i] = anywhere(r, radiusM)
		sin, cos := math.Sincos(2 * math.Pi * r.Float64())
		to[i] = geo.XY{EastM: from[i].EastM + stepM*sin, NorthM: from[i].NorthM + stepM*cos}
	}
	b.ReportAllocs()
	i, met := 0, 0
	for b.Loop() {
		if _, _, ok := x.Crossing(from[i%many], to[i%many]); ok {
			met++
		}
		i++
	}
	b.ReportMetric(100*float64(met)/float64(i), "%met")
}

func BenchmarkNearest(b *testing.B) {
	for _, w := range waters {
		x := coast.NewIndex(near(b, planeAt(b, w.latitudeDeg, w.longitudeDeg), radiusM))
		b.Run(w.name, func(b *testing.B) {
			r := rand.New(rand.NewPCG(1, 2))
			b.ReportAllocs()
			for b.Loop() {
				x.Nearest(anywhere(r, radiusM), radiusM)
			}
		})
	}
}

func BenchmarkOnLand(b *testing.B) {
	for _, w := range waters {
		p := at(b, w.latitudeDeg, w.longitudeDeg)
		b.Run(w.name, func(b *testing.B) {
			for b.Loop() {
				if _, err := coast.OnLand(p); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// archipelago is about so many segments of 1 km in rings of 20, strewn over a square: a shore of islands.
func archipelago(segments int, halfM float64) []coast.Line {
	r := rand.New(rand.NewPCG(3, 4))
	var lines []coast.Line
	for range segments / 20 {
		lines = append(lines, ring(anywhere(r, halfM), 3200, 20))
	}
	return lines
}
