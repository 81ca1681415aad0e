package motion_test

import (
	"testing"

	"rideout/service/physics/motion"
	"rideout/service/physics/seaway"
)

// The two benchmarks integrate the reference case "power 12 m, storm, stiff" over 3 h at 0.05 s and
// report simulated over real time, per core.
func BenchmarkRecord(b *testing.B) {
	s, body, sea := benchCase(b)
	rec, err := seaway.NewRecord(sea, 1)
	if err != nil {
		b.Fatal(err)
	}
	var bench motion.Bench
	water := bench.Water(s, body, rec)
	b.ReportAllocs()
	for b.Loop() {
		if _, _, err := bench.Record(s, water, 10, 0.05); err != nil {
			b.Fatal(err)
		}
	}
	reportRatio(b)
}

func BenchmarkRecordWithNewSea(b *testing.B) {
	s, body, sea := benchCase(b)
	var bench motion.Bench
	seed := uint64(0)
	b.ReportAllocs()
	for b.Loop() {
		seed++
		rec, err := seaway.NewRecord(sea, seed)
		if err != nil {
			b.Fatal(err)
		}
		if _, _, err := bench.Record(s, bench.Water(s, body, rec), 10, 0.05); err != nil {
			b.Fatal(err)
		}
	}
	reportRatio(b)
}

func reportRatio(b *testing.B) {
	b.ReportMetric((seaway.RecordS+motion.LeadInS)*float64(b.N)/b.Elapsed().Seconds(), "x-real-time")
}

func benchCase(b *testing.B) (motion.System, motion.Body, seaway.Spectrum) {
	b.Helper()
	c := independentCases(b)[1]
	s, body := c.system(b)
	sea, err := seaway.JONSWAP(c.HsM, c.TpS, seaway.Gamma(c.HsM, c.TpS), seaway.RecordGrid(c.TpS))
	if err != nil {
		b.Fatal(err)
	}
	return s, body, sea
}
