package drift_test

import (
	"fmt"
	"testing"

	"rideout/service/physics/drift"
)

// BenchmarkRun carries particles over 72 h near a shore that none of them meets; the time grows with their number.
func BenchmarkRun(b *testing.B) {
	for _, particles := range []int{2000, 4000, 8000} {
		b.Run(fmt.Sprint(particles), func(b *testing.B) {
			c := galeCase()
			c.Spans = append(gale(), gale()[:8]...)
			c.Particles, c.Obstacles = particles, eastOf(1e9)
			b.ReportAllocs()
			for b.Loop() {
				run(b, c)
			}
		})
	}
}

// BenchmarkLatestChange looks for the last hour to change, in 72 h.
func BenchmarkLatestChange(b *testing.B) {
	bare := append(gale(), gale()[:8]...)
	canopy := append(gale(), gale()[:8]...)
	for i := range bare {
		bare[i].SpeedMS = bare[i].SpeedMS.Scale(2.5)
		canopy[i].Mode = 1
	}
	c := galeCase()
	c.Spans, c.Obstacles = bare, eastOf(150e3)
	for b.Loop() {
		if l, err := drift.LatestChange(c, canopy, 0.1, 72); err != nil || !l.Within {
			b.Fatal(l, err)
		}
	}
}
