package rode

import (
	"math"

	"rideout/service/physics/quantity"
)

// Cycle is one load cycle of a record, counted whole (1) or as a half (0.5).
type Cycle struct {
	RangeN float64 // highest less lowest load, N
	MeanN  float64 // middle of the two, N
	Count  float64
}

// TurningPoints gives the first and last value of a record and every value between at which it
// turns. Of a plateau one value stays. Loads within 1 GN either way; NaN is refused.
func TurningPoints(record []float64) ([]float64, error) {
	var turns []float64
	for _, v := range record {
		if err := quantity.Within("load in the record", v, -1e9, 1e9, "N"); err != nil {
			return nil, err
		}
		n := len(turns)
		switch {
		case n > 0 && v == turns[n-1]:
		case n > 1 && (v > turns[n-1]) == (turns[n-1] > turns[n-2]):
			turns[n-1] = v // still going the same way
		default:
			turns = append(turns, v)
		}
	}
	return turns, nil
}

// Rainflow counts the load cycles in a record of tension in N, sampled finely enough to hold its
// peaks. The cycles come in the order they close, then the halves that never do.
//
// The three-point rule: with X the range in hand and Y the one before, a Y no larger than X is a
// cycle; it counts half, and loses its first point alone, when it holds the record's start. Source:
// ASTM E1049-85, 5.4.4 rainflow counting, from memory.
func Rainflow(record []float64) ([]Cycle, error) {
	turns, err := TurningPoints(record)
	if err != nil {
		return nil, err
	}
	cycles := make([]Cycle, 0, len(turns)/2+2)
	count := func(a, b, n float64) {
		cycles = append(cycles, Cycle{RangeN: math.Abs(a - b), MeanN: a/2 + b/2, Count: n})
	}
	open := turns[:0] // points read and not yet counted away; never longer than what has been read
	for _, v := range turns {
		open = append(open, v)
		for n := len(open); n >= 3; n = len(open) {
			x, y := math.Abs(open[n-1]-open[n-2]), math.Abs(open[n-2]-open[n-3])
			if x < y {
				break
			}
			if n == 3 {
				count(open[0], open[1], 0.5)
				open = append(open[:0], open[1], open[2])
				continue
			}
			count(open[n-3], open[n-2], 1)
			open = append(open[:n-3], open[n-1])
		}
	}
	for i := 1; i < len(open); i++ {
		count(open[i-1], open[i], 0.5)
	}
	return cycles, nil
}

// CyclesToBreak gives how many cycles of a load range, as a share of breaking strength (0 to 1e6),
// part a nylon rope:
//
//	range/Fb = 1 - 0.10 log10 N
//
// never less than one. The line comes from tests that go down to slack, where range and peak are
// the same; a mean load above that adds creep, which is left out, as is chafe, which parts more
// ropes than fatigue does. Source: nylon loses about 10 % of its breaking strength for each tenfold of
// load cycles, from memory.
func CyclesToBreak(rangeShare float64) (float64, error) {
	if err := quantity.Within("load range", rangeShare, 0, 1e6, "breaking strengths"); err != nil {
		return 0, err
	}
	const lossPerDecade = 0.10
	return math.Pow(10, math.Max(0, 1-rangeShare)/lossPerDecade), nil
}

// Damage gives the share of a rope's life the cycles use up, by the linear rule D = sum n/N; 1 or
// more is a parted rope. breakingN (1 N to 100 MN) is the strength as used. Shares of several
// storms add up. Source: Miner 1945, Cumulative damage in fatigue; its order of loads makes no
// difference, which is a simplification.
func Damage(cycles []Cycle, breakingN float64) (float64, error) {
	if err := quantity.Within("breaking strength", breakingN, 1, 1e8, "N"); err != nil {
		return 0, err
	}
	var sum float64
	for _, c := range cycles {
		n, err := CyclesToBreak(c.RangeN / breakingN)
		if err != nil {
			return 0, err
		}
		sum += c.Count / n
	}
	return sum, nil
}
