package rode_test

import (
	"math"
	"slices"
	"testing"

	"rideout/service/physics/rode"
)

// noise is a repeatable record: sums of sines with unrelated periods.
func noise(n int) []float64 {
	record := make([]float64, n)
	for i := range record {
		x := float64(i)
		record[i] = 4000 + 1500*math.Sin(0.0614*x) + 900*math.Sin(0.0831*x+1) + 300*math.Sin(0.317*x+2)
	}
	return record
}

func count(t *testing.T, record []float64) []rode.Cycle {
	t.Helper()
	cycles, err := rode.Rainflow(record)
	if err != nil {
		t.Fatal(err)
	}
	return cycles
}

func TestTurningPointsDropPlateausAndRuns(t *testing.T) {
	t.Parallel()
	got, err := rode.TurningPoints([]float64{0, 0, 1, 2, 2, 2, 3, 1, 1, 0, 5, 5})
	if want := []float64{0, 3, 0, 5}; err != nil || !slices.Equal(got, want) {
		t.Errorf("got %v, %v, want %v", got, err, want)
	}
	for _, short := range [][]float64{nil, {7}, {7, 7, 7}} {
		if cycles := count(t, short); len(cycles) != 0 {
			t.Errorf("%v: got cycles %v", short, cycles)
		}
	}
}

// Every fall and rise of the record is counted once: the ranges times twice their counts add up to
// the way the record goes.
func TestRainflowKeepsTheWayTravelled(t *testing.T) {
	t.Parallel()
	record := noise(20000)
	var way, counted float64
	for i := 1; i < len(record); i++ {
		way += math.Abs(record[i] - record[i-1])
	}
	highest := slices.Max(record) - slices.Min(record)
	var largest float64
	for _, c := range count(t, record) {
		counted += 2 * c.Count * c.RangeN
		largest = math.Max(largest, c.RangeN)
	}
	near(t, "way", counted, way, 1e-9)
	near(t, "largest range", largest, highest, 1e-12)
}

func TestRainflowOfASineIsItsCycles(t *testing.T) {
	t.Parallel()
	var record []float64
	for i := range 1000*50 + 1 {
		record = append(record, 10*math.Sin(2*math.Pi*float64(i)/50+math.Pi/2))
	}
	var n float64
	for _, c := range count(t, record) {
		near(t, "range", c.RangeN, 20, 1e-9)
		if math.Abs(c.MeanN) > 1e-9 {
			t.Errorf("mean %g, want none", c.MeanN)
		}
		n += c.Count
	}
	near(t, "cycles", n, 1000, 0)
}

// Turning the record upside down or lifting it changes no range; doubling it doubles all.
func TestRainflowSymmetries(t *testing.T) {
	t.Parallel()
	record := noise(3000)
	plain := count(t, record)
	down, twice := make([]float64, len(record)), make([]float64, len(record))
	for i, v := range record {
		down[i], twice[i] = -v, 2*v
	}
	under, double := count(t, down), count(t, twice)
	if len(under) != len(plain) || len(double) != len(plain) {
		t.Fatalf("got %d and %d cycles, want %d", len(under), len(double), len(plain))
	}
	for i, c := range plain {
		if under[i].RangeN != c.RangeN || under[i].MeanN != -c.MeanN || double[i].RangeN != 2*c.RangeN || under[i].Count != c.Count {
			t.Fatalf("cycle %d: %+v, upside down %+v, doubled %+v", i, c, under[i], double[i])
		}
	}
}

func TestRainflowLeavesTheRecordAlone(t *testing.T) {
	t.Parallel()
	record := noise(100000)
	before := slices.Clone(record)
	cycles := count(t, record)
	if !slices.Equal(before, record) {
		t.Error("the record was changed")
	}
	if len(cycles) > len(record)/10 {
		t.Errorf("%d cycles of %d samples", len(cycles), len(record))
	}
}

func TestDamageAddsAndGrowsWithLoad(t *testing.T) {
	t.Parallel()
	cycles := count(t, noise(5000))
	damage := func(c []rode.Cycle, breakingN float64) float64 {
		d, err := rode.Damage(c, breakingN)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	once := damage(cycles, 6e4)
	near(t, "two storms", damage(append(slices.Clone(cycles), cycles...), 6e4), 2*once, 1e-12)
	if weak := damage(cycles, 3e4); weak <= once {
		t.Errorf("damage %g of a weaker rope is not above %g", weak, once)
	}
	near(t, "one cycle at breaking load", damage([]rode.Cycle{{6e4, 3e4, 1}}, 6e4), 1, 1e-12)
	near(t, "one cycle above it", damage([]rode.Cycle{{9e4, 4e4, 1}}, 6e4), 1, 1e-12)
	near(t, "ten thousand at 60 %", damage([]rode.Cycle{{3.6e4, 3e4, 1e4}}, 6e4), 1, 1e-9)
}

func TestFatigueRefuses(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	for name, call := range map[string]func() error{
		"NaN in the record":    func() error { _, err := rode.Rainflow([]float64{1, nan, 2}); return err },
		"infinite load":        func() error { _, err := rode.TurningPoints([]float64{math.Inf(1)}); return err },
		"damage of no rope":    func() error { _, err := rode.Damage(nil, 0); return err },
		"damage of a NaN":      func() error { _, err := rode.Damage([]rode.Cycle{{nan, 0, 1}}, 1e4); return err },
		"negative load range":  func() error { _, err := rode.CyclesToBreak(-0.1); return err },
		"cycles of a NaN load": func() error { _, err := rode.CyclesToBreak(nan); return err },
	} {
		if call() == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

func BenchmarkRainflow(b *testing.B) {
	record := noise(108000) // 3 h at 10 a second
	b.ReportAllocs()
	for b.Loop() {
		if _, err := rode.Rainflow(record); err != nil {
			b.Fatal(err)
		}
	}
}
