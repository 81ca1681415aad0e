package coast_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"rideout/service/physics/coast"
	"rideout/service/physics/geo"
)

// xy is a place by whole metres.
func xy(eastM, northM int) geo.XY { return geo.XY{EastM: float64(eastM), NorthM: float64(northM)} }

func lattice(r *rand.Rand, half int) geo.XY { return xy(r.IntN(2*half+1)-half, r.IntN(2*half+1)-half) }

// Over whole metres touching, ends on lines and steps along lines are common and every product is exact, so the answer
// must be that of the plain search below, to the last bit of the fraction.
func TestCrossingAsPlainSearchOnLattice(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(11, 12))
	for range 300 {
		half := 2 + r.IntN(30)
		lines := latticeLines(r, half)
		x := coast.NewIndex(lines)
		for range 200 {
			a, b := lattice(r, half+4), lattice(r, half+4)
			line, at, ok := x.Crossing(a, b)
			wantLine, wantAt, wantOK := plainCrossing(lines, a, b)
			if ok != wantOK || line != wantLine || at != wantAt {
				t.Fatalf("from %v to %v: line %d at %.17g, %t, want line %d at %.17g, %t; lines %v", a, b, line, at, ok, wantLine, wantAt, wantOK, lines)
			}
		}
	}
}

func latticeLines(r *rand.Rand, half int) []coast.Line {
	lines := make([]coast.Line, 1+r.IntN(12))
	for i := range lines {
		for range 1 + r.IntN(6) {
			lines[i].Points = append(lines[i].Points, lattice(r, half))
		}
	}
	return lines
}

// plainCrossing tries every segment, in whole numbers: the segment is p + u s, the step a + t d.
func plainCrossing(lines []coast.Line, a, b geo.XY) (line int, at float64, ok bool) {
	for i, l := range lines {
		for j := range max(1, len(l.Points)-1) {
			p, q := l.Points[j], l.Points[min(j+1, len(l.Points)-1)]
			if t, met := plainMeeting(p, q, a, b); met && (!ok || t < at) {
				line, at, ok = i, t, true
			}
		}
	}
	return line, at, ok
}

func plainMeeting(p, q, a, b geo.XY) (float64, bool) {
	cross := func(u, v [2]int) int { return u[0]*v[1] - u[1]*v[0] }
	dot := func(u, v [2]int) int { return u[0]*v[0] + u[1]*v[1] }
	from := func(o, e geo.XY) [2]int { return [2]int{int(e.EastM - o.EastM), int(e.NorthM - o.NorthM)} }
	s, d, ap := from(p, q), from(a, b), from(a, p)
	den, t, u := cross(d, s), cross(ap, s), cross(ap, d)
	if den < 0 {
		den, t, u = -den, -t, -u
	}
	if den > 0 {
		return float64(t) / float64(den), t >= 0 && t <= den && u >= 0 && u <= den
	}
	if t != 0 || u != 0 { // beside each other
		return 0, false
	}
	length2 := dot(d, d)
	if length2 == 0 { // a step of no length, and a on the line of the segment
		aq := from(a, q)
		return 0, cross(ap, aq) == 0 && dot(ap, aq) <= 0
	}
	first, last := dot(ap, d), dot(from(a, q), d)
	if first > last {
		first, last = last, first
	}
	return float64(max(first, 0)) / float64(length2), first <= length2 && last >= 0
}

func TestCrossingAsPlainSearchAtSea(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(21, 22))
	lines := archipelago(4000, 60_000)
	lines = append(lines, coast.Line{Name: "long", Points: []geo.XY{xy(-70_000, -50_000), xy(65_000, 41_000)}})
	x := coast.NewIndex(lines)
	met := 0
	for range 20_000 {
		a := anywhere(r, 90_000)
		reach := math.Exp(r.Float64()*8) * 20 // 20 m to 60 km
		b := anywhere(r, reach)
		b.EastM, b.NorthM = b.EastM+a.EastM, b.NorthM+a.NorthM
		line, at, ok := x.Crossing(a, b)
		wantLine, wantAt, wantOK := crossingOf(lines, a, b)
		if ok != wantOK || line != wantLine || math.Abs(at-wantAt) > 1e-9 {
			t.Fatalf("from %v to %v: line %d at %g, %t, want line %d at %g, %t", a, b, line, at, ok, wantLine, wantAt, wantOK)
		}
		if ok {
			met++
		}
	}
	if met < 2000 {
		t.Errorf("only %d steps met a line", met)
	}
}

// crossingOf tries every segment, by the fractions along both.
func crossingOf(lines []coast.Line, a, b geo.XY) (line int, at float64, ok bool) {
	for i, l := range lines {
		for j := 1; j < len(l.Points); j++ {
			p, q := l.Points[j-1], l.Points[j]
			sE, sN, dE, dN := q.EastM-p.EastM, q.NorthM-p.NorthM, b.EastM-a.EastM, b.NorthM-a.NorthM
			den := dE*sN - dN*sE
			t := ((p.EastM-a.EastM)*sN - (p.NorthM-a.NorthM)*sE) / den
			u := ((p.EastM-a.EastM)*dN - (p.NorthM-a.NorthM)*dE) / den
			if t >= 0 && t <= 1 && u >= 0 && u <= 1 && (!ok || t < at) {
				line, at, ok = i, t, true
			}
		}
	}
	return line, at, ok
}

func TestNearestAsPlainSearch(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(31, 32))
	for _, segments := range []int{20, 400, 4000} {
		lines := archipelago(segments, 60_000)
		lines = append(lines, coast.Line{Name: "rock", Points: []geo.XY{xy(1234, -777)}})
		x := coast.NewIndex(lines)
		for range 2000 {
			p := anywhere(r, 150_000)
			within := 40_000 * r.Float64()
			line, distance, at, ok := x.Nearest(p, within)
			wantLine, want := nearestOf(lines, p)
			if ok != (want <= within) {
				t.Fatalf("%v within %g: %t, and a line lies at %g", p, within, ok, want)
			}
			if !ok {
				continue
			}
			if line != wantLine || math.Abs(distance-want) > 1e-9 || math.Abs(math.Hypot(at.EastM-p.EastM, at.NorthM-p.NorthM)-want) > 1e-9 {
				t.Fatalf("%v: line %d at %g m by %v, want line %d at %g m", p, line, distance, at, wantLine, want)
			}
		}
	}
}

// nearestOf tries every segment, by heron's way: the ends, and the foot where both angles at the base are sharp.
func nearestOf(lines []coast.Line, p geo.XY) (line int, distanceM float64) {
	apart := func(a, b geo.XY) float64 { return math.Hypot(a.EastM-b.EastM, a.NorthM-b.NorthM) }
	distanceM = math.Inf(1)
	for i, l := range lines {
		for j := range max(1, len(l.Points)-1) {
			a, b := l.Points[j], l.Points[min(j+1, len(l.Points)-1)]
			pa, pb, ab := apart(p, a), apart(p, b), apart(a, b)
			d := min(pa, pb)
			if pa*pa < pb*pb+ab*ab && pb*pb < pa*pa+ab*ab {
				twice := (b.EastM-a.EastM)*(p.NorthM-a.NorthM) - (b.NorthM-a.NorthM)*(p.EastM-a.EastM)
				d = math.Abs(twice) / ab
			}
			if d < distanceM {
				line, distanceM = i, d
			}
		}
	}
	return line, distanceM
}

// Moved and turned, the same step meets the same line at the same part of it.
func TestIndexTurnsAndMoves(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(41, 42))
	lines := archipelago(2000, 30_000)
	x := coast.NewIndex(lines)
	for range 20 {
		sin, cos := math.Sincos(7 * r.Float64())
		by := anywhere(r, 500_000)
		move := func(p geo.XY) geo.XY {
			return geo.XY{EastM: by.EastM + p.EastM*cos + p.NorthM*sin, NorthM: by.NorthM - p.EastM*sin + p.NorthM*cos}
		}
		var moved []coast.Line
		for _, l := range lines {
			m := coast.Line{Name: l.Name}
			for _, p := range l.Points {
				m.Points = append(m.Points, move(p))
			}
			moved = append(moved, m)
		}
		y := coast.NewIndex(moved)
		for range 300 {
			a, b := anywhere(r, 30_000), anywhere(r, 30_000)
			line, at, ok := x.Crossing(a, b)
			line2, at2, ok2 := y.Crossing(move(a), move(b))
			if line != line2 || ok != ok2 || math.Abs(at-at2) > 1e-8 {
				t.Fatalf("from %v to %v: line %d at %g, %t; turned: line %d at %g, %t", a, b, line, at, ok, line2, at2, ok2)
			}
			near, d, _, _ := x.Nearest(a, 1e6)
			near2, d2, _, _ := y.Nearest(move(a), 1e6)
			if near != near2 || math.Abs(d-d2) > 1e-8 {
				t.Fatalf("%v: line %d at %g m; turned: line %d at %g m", a, near, d, near2, d2)
			}
		}
	}
}

// Nobody leaves a closed ring without meeting it, however the steps fall on its points.
func TestRingHolds(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(51, 52))
	held := ring(geo.XY{EastM: 1e5, NorthM: -3e5}, 1000, 97)
	x := coast.NewIndex([]coast.Line{held})
	centre := geo.XY{EastM: 1e5, NorthM: -3e5}
	at := centre
	for i := range 200_000 {
		to := geo.XY{EastM: at.EastM + 400*(r.Float64()-0.5), NorthM: at.NorthM + 400*(r.Float64()-0.5)}
		if i%3 == 0 { // straight at a point of the ring, and some way past it
			p := held.Points[r.IntN(97)]
			f := 0.5 + r.Float64()
			to = geo.XY{EastM: at.EastM + f*(p.EastM-at.EastM), NorthM: at.NorthM + f*(p.NorthM-at.NorthM)}
		}
		if _, _, ok := x.Crossing(at, to); !ok {
			at = to
		}
		if math.Hypot(at.EastM-centre.EastM, at.NorthM-centre.NorthM) > 1000 {
			t.Fatalf("out at %v after %d steps", at, i)
		}
	}
}

func TestIndexOfNothing(t *testing.T) {
	t.Parallel()
	nan, inf := math.NaN(), math.Inf(1)
	for name, x := range map[string]coast.Index{
		"zero":              {},
		"no lines":          coast.NewIndex(nil),
		"a line of nothing": coast.NewIndex([]coast.Line{{Name: "none"}}),
		"not finite":        coast.NewIndex([]coast.Line{{Points: []geo.XY{{EastM: nan}, {}}}, {Points: []geo.XY{{NorthM: inf}}}, {Points: []geo.XY{{}, {EastM: 2e8}}}}),
	} {
		if _, _, ok := x.Crossing(xy(-1, -1), xy(1, 1)); ok {
			t.Errorf("%s: met something", name)
		}
		if _, _, _, ok := x.Nearest(geo.XY{}, inf); ok {
			t.Errorf("%s: something is near", name)
		}
	}
	x := coast.NewIndex([]coast.Line{{Points: []geo.XY{xy(0, -1), xy(0, 1)}}})
	for _, bad := range []geo.XY{{EastM: nan}, {NorthM: nan}, {EastM: inf}, {NorthM: -inf}, {EastM: 2e8}} {
		if _, _, ok := x.Crossing(bad, geo.XY{}); ok {
			t.Errorf("from %v: met something", bad)
		}
		if _, _, ok := x.Crossing(geo.XY{}, bad); ok {
			t.Errorf("to %v: met something", bad)
		}
		if _, _, _, ok := x.Nearest(bad, inf); ok {
			t.Errorf("%v: something is near", bad)
		}
	}
	for _, within := range []float64{nan, -1} {
		if _, _, _, ok := x.Nearest(geo.XY{}, within); ok {
			t.Errorf("within %g: something is near", within)
		}
	}
}

// Lines may be strewn as widely as the index allows, and as thinly.
func TestIndexOfExtremes(t *testing.T) {
	t.Parallel()
	lines := []coast.Line{
		{Points: []geo.XY{{EastM: -1e8, NorthM: -1e8}}},
		{Points: []geo.XY{{EastM: 1e8, NorthM: 1e8}}},
		{Points: []geo.XY{xy(10, -5), xy(10, 5)}},
	}
	x := coast.NewIndex(lines)
	if line, at, ok := x.Crossing(xy(0, 0), xy(40, 0)); line != 2 || at != 0.25 || !ok {
		t.Errorf("line %d at %g, %t", line, at, ok)
	}
	if line, d, _, ok := x.Nearest(geo.XY{EastM: -9e7, NorthM: -1e8}, 1e8); line != 0 || d != 1e7 || !ok {
		t.Errorf("line %d at %g, %t", line, d, ok)
	}
	rock := coast.NewIndex([]coast.Line{{Name: "rock", Points: []geo.XY{xy(3, 4)}}})
	if _, d, at, ok := rock.Nearest(geo.XY{}, 5); d != 5 || at != xy(3, 4) || !ok {
		t.Errorf("rock at %g m by %v, %t", d, at, ok)
	}
	if _, at, ok := rock.Crossing(geo.XY{}, xy(6, 8)); at != 0.5 || !ok {
		t.Errorf("met the rock at %g, %t", at, ok)
	}
}

// Not parallel: others would allocate meanwhile.
func TestIndexAllocatesNothing(t *testing.T) {
	x := coast.NewIndex(archipelago(1000, 20_000))
	if n := testing.AllocsPerRun(100, func() {
		x.Crossing(xy(-20_000, 0), xy(20_000, 300))
		x.Nearest(xy(100, 100), 50_000)
	}); n != 0 {
		t.Errorf("%g allocations", n)
	}
}
