package drift_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"rideout/service/physics/constant"
	"rideout/service/physics/drift"
	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
)

const (
	enough = 20000
	// surely is how many standard errors a sample may be off.
	surely = 4.5
)

// alone is a case on the equator with one kind of error.
func alone(s drift.Span, spread drift.Spread) drift.Case {
	return drift.Case{Spans: []drift.Span{s}, Spread: spread, Particles: enough, Seed: 17}
}

// quarters are the instants of all steps of so many hours.
func quarters(hours float64) []float64 {
	var at []float64
	for h := 0.25; h < hours; h += 0.25 {
		at = append(at, h)
	}
	return at
}

// moments give mean and standard deviation of pairs and their correlation.
func moments(x, y []float64) (meanX, deviationX, correlation float64) {
	n := float64(len(x))
	var sx, sy, sxx, syy, sxy float64
	for i := range x {
		sx, sy = sx+x[i], sy+y[i]
		sxx, syy, sxy = sxx+x[i]*x[i], syy+y[i]*y[i], sxy+x[i]*y[i]
	}
	vx, vy := sxx/n-sx*sx/n/n, syy/n-sy*sy/n/n
	return sx / n, math.Sqrt(vx), (sxy/n - sx*sy/n/n) / math.Sqrt(vx*vy)
}

// speeds are the particles' speeds over the ground in the step of a quarter of an hour that begins at an instant.
func speeds(t *testing.T, e drift.Ensemble, atH float64, of func(geo.XY) float64) []float64 {
	t.Helper()
	from, to := cloud(t, e, atH), cloud(t, e, atH+0.25)
	x := make([]float64, len(from))
	for i := range from {
		x[i] = of(geo.XY{EastM: (to[i].EastM - from[i].EastM) / 900, NorthM: (to[i].NorthM - from[i].NorthM) / 900})
	}
	return x
}

func east(v geo.XY) float64 { return v.EastM }

// The current's error has its stated deviation at all times and loses its correlation by e over its time scale.
func TestCurrentErrorIsTheStatedProcess(t *testing.T) {
	t.Parallel()
	const sigma, scale = 0.2, 3.0
	c := alone(drift.Span{Hours: 12}, drift.Spread{CurrentMS: exactly(sigma), CurrentScaleH: exactly(scale)})
	c.AtH = quarters(12)
	e := run(t, c)
	first := speeds(t, e, 0, east)
	for _, lag := range []float64{0.25, 1, 3, 6, 11.75} {
		mean, deviation, correlation := moments(speeds(t, e, lag, east), first)
		want := math.Exp(-lag / scale)
		root := math.Sqrt(enough)
		if math.Abs(mean) > surely*sigma/root || math.Abs(deviation/sigma-1) > surely/math.Sqrt2/root {
			t.Errorf("after %g h: mean %.4f, deviation %.4f m/s, want 0 and %g", lag, mean, deviation, sigma)
		}
		if math.Abs(correlation-want) > surely*(1-want*want)/root {
			t.Errorf("after %g h: correlation %.4f, want %.4f", lag, correlation, want)
		}
	}
	if _, _, r := moments(first, speeds(t, e, 0, func(v geo.XY) float64 { return v.NorthM })); math.Abs(r) > surely/math.Sqrt(enough) {
		t.Errorf("the components are correlated by %.4f", r)
	}
}

// The wind's errors grow in a straight line to their last value, and keep their correlation in time meanwhile.
func TestWindErrorsGrowWithLeadTime(t *testing.T) {
	t.Parallel()
	const scale = 6.0
	share := drift.Growth{First: exactly(0.05), Last: exactly(0.2), OverH: 10}
	direction := drift.Growth{First: exactly(0.05), Last: exactly(0.3), OverH: 10}
	toward := drift.Span{Hours: 16, SpeedMS: quantity.Exactly(1)}
	for name, c := range map[string]struct {
		spread drift.Spread
		growth drift.Growth
		of     func(geo.XY) float64
	}{
		"share":     {drift.Spread{WindShare: share, WindScaleH: exactly(scale)}, share, func(v geo.XY) float64 { return v.NorthM }},
		"direction": {drift.Spread{WindDirection: direction, WindScaleH: exactly(scale)}, direction, func(v geo.XY) float64 { return math.Atan2(v.EastM, v.NorthM) }},
	} {
		one := alone(toward, c.spread)
		one.AtH = quarters(16)
		e := run(t, one)
		first := speeds(t, e, 0, c.of)
		for _, atH := range []float64{0, 2.5, 5, 9.75, 12, 15.75} {
			_, deviation, correlation := moments(speeds(t, e, atH, c.of), first)
			middle := atH + 0.125
			want := c.growth.First.Mid + (c.growth.Last.Mid-c.growth.First.Mid)*math.Min(middle/10, 1)
			if math.Abs(deviation/want-1) > surely/math.Sqrt(2*enough) {
				t.Errorf("%s after %g h: deviation %.4f, want %.4f", name, atH, deviation, want)
			}
			kept := math.Exp(-atH / scale)
			if math.Abs(correlation-kept) > surely*(1-kept*kept)/math.Sqrt(enough)+1e-6 {
				t.Errorf("%s after %g h: correlation %.4f, want %.4f", name, atH, correlation, kept)
			}
		}
	}
}

// The speed's band holds 90 % of the particles between its ends, half of them on either side of the middle; speeds never
// turn about; and a particle keeps its place within a mode, and has another in another mode.
func TestSpeedBandIsFiveFiftyNinetyFive(t *testing.T) {
	t.Parallel()
	band := quantity.Band{Low: 0, Mid: 0.4, High: 1.2}
	c := alone(drift.Span{Hours: 1, SpeedMS: band}, drift.Spread{})
	c.Spans = append(c.Spans, c.Spans[0], c.Spans[0])
	c.Spans[2].Mode = 1
	e := run(t, c)
	var hour [3][]float64
	for h := range hour {
		from, to := cloud(t, e, float64(h)), cloud(t, e, float64(h+1))
		for i := range from {
			hour[h] = append(hour[h], (to[i].NorthM-from[i].NorthM)/3600)
		}
	}
	if _, _, r := moments(hour[0], hour[1]); r < 1-1e-9 {
		t.Errorf("within a mode the speeds are correlated by %g only", r)
	}
	if _, _, r := moments(hour[0], hour[2]); math.Abs(r) > surely/math.Sqrt(enough) {
		t.Errorf("the speeds of two modes are correlated by %.4f", r)
	}
	below := func(v float64) float64 {
		n := 0
		for _, x := range hour[0] {
			if x <= v+1e-9 {
				n++
			}
		}
		return float64(n) / enough
	}
	for share, v := range map[float64]float64{0.05: band.Low, 0.5: band.Mid, 0.95: band.High} {
		if got := below(v); math.Abs(got-share) > surely*math.Sqrt(share*(1-share)/enough) {
			t.Errorf("%.4f of the speeds are below %g m/s, want %g", got, v, share)
		}
	}
	if least := slices.Min(hour[0]); least < -1e-9 {
		t.Errorf("a speed of %g m/s", least)
	}
}

// A vessel runs off the wind by any share of the divergence, to either side alike, and changes sides as a
// process does whose correlation falls by e in 1/(2 rate).
func TestDivergenceAndChangeOfSides(t *testing.T) {
	t.Parallel()
	const off, rate, speed = 0.05, 0.2, 1.0
	c := alone(drift.Span{Hours: 12, SpeedMS: quantity.Exactly(speed), Divergence: off}, drift.Spread{SwitchPerH: exactly(rate)})
	c.AtH = quarters(12)
	e := run(t, c)
	first := speeds(t, e, 0, func(v geo.XY) float64 { return math.Atan2(v.EastM, v.NorthM) })
	if least, most := slices.Min(first), slices.Max(first); least < -off || most > off || most-least < 1.99*off {
		t.Errorf("she lies off by %.5f to %.5f rad, want all of +-%g", least, most, off)
	}
	mean, deviation, _ := moments(first, first)
	if want := off / math.Sqrt(3); math.Abs(mean) > surely*want/math.Sqrt(enough) || math.Abs(deviation/want-1) > surely*math.Sqrt(0.2/enough) {
		t.Errorf("mean %.5f, deviation %.5f rad, want 0 and %.5f, of a uniform distribution", mean, deviation, want)
	}
	for _, lag := range []float64{0.25, 1, 2.5, 8} {
		_, _, got := moments(speeds(t, e, lag, east), speeds(t, e, 0, east))
		if want := math.Exp(-2 * rate * lag); math.Abs(got-want) > surely*1.4/math.Sqrt(enough) {
			t.Errorf("after %g h the sides are correlated by %.4f, want %.4f", lag, got, want)
		}
	}
}

// The errors of wind and current are the same whatever the spans are, and whatever else is uncertain.
func TestErrorsDoNotDependOnTheSpans(t *testing.T) {
	t.Parallel()
	spread := drift.DefaultSpread()
	still := alone(drift.Span{Hours: 6}, spread)
	moved := alone(drift.Span{Hours: 6, CurrentEastMS: 0.5, Mode: 2}, spread)
	moved.Spread.SwitchPerH = exactly(0)
	moved.Spans = drift.Change(moved.Spans, moved.Spans, 3)
	a, b := cloud(t, run(t, still), 6), cloud(t, run(t, moved), 6)
	for i := range a {
		want := geo.XY{EastM: a[i].EastM + 0.5*6*3600, NorthM: a[i].NorthM}
		if off := apart(b[i], want); off > 0.5 { // 20 km on the plane bend by less
			t.Fatalf("particle %d: %v m in still water, %v m in a current of 0.5 m/s: %g m off", i, a[i], b[i], off)
		}
	}
}

func TestDefaultSpreadSaysWhereItComesFrom(t *testing.T) {
	t.Parallel()
	s := drift.DefaultSpread()
	for name, c := range map[string]constant.Coefficient{
		"wind first": s.WindShare.First, "wind last": s.WindShare.Last, "direction first": s.WindDirection.First,
		"direction last": s.WindDirection.Last, "wind scale": s.WindScaleH, "current": s.CurrentMS,
		"current scale": s.CurrentScaleH, "position": s.PositionM, "switch": s.SwitchPerH,
	} {
		if strings.TrimSpace(c.Source) == "" {
			t.Errorf("%s has no source", name)
		}
		if !(c.Low < c.Mid && c.Mid < c.High) {
			t.Errorf("%s: %+v is no band", name, c.Band)
		}
	}
	if half, err := drift.CircularRadiusM(s.CurrentMS.Mid*math.Sqrt(2*math.Ln2), 0.5); err != nil || math.Abs(quantity.Knots(half)-0.3) > 0.0005 {
		t.Errorf("half of the current's errors lie within %.4f kn (%v), want 0.3", quantity.Knots(half), err)
	}
}
