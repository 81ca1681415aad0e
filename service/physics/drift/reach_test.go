package drift_test

import (
	"math"
	"testing"

	"rideout/service/physics/drift"
	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
)

// Where the speed alone is uncertain, the time to a shore is the distance over the speed: its quantiles are those of the
// band, turned about, and one beyond the forecast says so.
func TestArrivalIsDistanceOverSpeed(t *testing.T) {
	t.Parallel()
	band := quantity.Band{Low: 0.5, Mid: 0.8, High: 1.6}
	const distance = 40e3
	c := alone(drift.Span{Hours: 20, Toward: quantity.Degrees(90), SpeedMS: band}, drift.Spread{})
	c.Obstacles = eastOf(distance)
	e := run(t, c)
	got := e.Ashore.Arrival()
	for name, a := range map[string]struct {
		when    drift.When
		speedMS float64
		slope   float64 // of the speed over the share, there
	}{
		"5 %":  {got.Low, band.High, (band.High - band.Mid) / 1.6449 / 0.1031},
		"half": {got.Mid, band.Mid, (band.High - band.Mid) / 1.6449 / 0.3989},
	} {
		want := distance / a.speedMS / 3600
		share := map[string]float64{"5 %": 0.05, "half": 0.5}[name]
		tol := surely * math.Sqrt(share*(1-share)/enough) * a.slope / a.speedMS * want
		if !a.when.Within || math.Abs(a.when.Hours-want) > tol {
			t.Errorf("%s ashore after %+v, want %.3f +- %.3f h", name, a.when, want, tol)
		}
	}
	if got.High.Within {
		t.Errorf("95 %% ashore by %g h, beyond a forecast of 20 h: the slow ones need %.1f h", got.High.Hours, distance/band.Low/3600)
	}
	// by 20 h those of more than 0.5556 m/s: 0.8 less 1.3397 of the deviations below, P = Phi(1.3397)
	if p := e.Ashore.Probability(); math.Abs(p.Mid-0.9098) > surely*math.Sqrt(0.09*0.91/enough) || p.Low >= p.Mid || p.High <= p.Mid {
		t.Errorf("probability %+v, want 0.9098", p)
	}
	if first := e.Ashore.Given(0.01); !first.Within || first.Hours >= got.Low.Hours {
		t.Errorf("the first of a hundred after %+v, 5 %% after %+v", first, got.Low)
	}
	if m := e.Mid.Ashore; !m.Within || math.Abs(m.Hours-distance/band.Mid/3600) > 1e-3 {
		t.Errorf("without errors she is ashore after %+v, want %.3f h", m, distance/band.Mid/3600)
	}
	for i, p := range cloud(t, e, 20) {
		if p.EastM > distance+1e-6 {
			t.Fatalf("particle %d is %g m inland", i, p.EastM-distance)
		}
	}
}

// Every particle ashore is counted at the one obstacle it met first.
func TestLinesSumToAll(t *testing.T) {
	t.Parallel()
	c := galeCase()
	rock := shore{{EastM: 30e3, NorthM: 0}, {EastM: 30e3, NorthM: 20e3}}
	c.Obstacles = shores{eastOf(55e3), rock, eastOf(-1e6)}
	e := run(t, c)
	if len(e.Lines) != 2 {
		t.Fatalf("%d obstacles reached, want 2: %+v", len(e.Lines), e.Lines)
	}
	sum := 0
	for i, l := range e.Lines {
		sum += len(l.TimesH)
		if i > 0 && len(l.TimesH) > len(e.Lines[i-1].TimesH) {
			t.Error("the likeliest does not come first")
		}
		if l.Particles != c.Particles || l.ForecastH != 48 {
			t.Errorf("line %d counts %d particles over %g h", l.Line, l.Particles, l.ForecastH)
		}
	}
	if sum != len(e.Ashore.TimesH) || sum == 0 {
		t.Errorf("%d at single obstacles, %d at any", sum, len(e.Ashore.TimesH))
	}
	if e.Mid.Ashore.Within && e.Mid.Line != e.Lines[0].Line && e.Mid.Line != e.Lines[1].Line {
		t.Errorf("without errors she is at obstacle %d", e.Mid.Line)
	}
}

func TestOpenOceanHasNoShore(t *testing.T) {
	t.Parallel()
	e := run(t, galeCase())
	if len(e.Ashore.TimesH) != 0 || len(e.Lines) != 0 || e.Mid.Ashore.Within {
		t.Errorf("ashore in the open ocean: %+v, %+v", e.Ashore, e.Mid.Ashore)
	}
	if p := e.Ashore.Probability(); p.Mid != 0 || p.High <= 0.001 || p.High > 0.002 {
		t.Errorf("none of %d ashore: %+v", e.Ashore.Particles, p)
	}
	if a := e.Ashore.Arrival(); a != (drift.Arrival{}) {
		t.Errorf("arrival %+v", a)
	}
}

// She floats at the start, whatever the error of her place.
func TestStartIsAfloat(t *testing.T) {
	t.Parallel()
	for _, distance := range []float64{0.001, 100, 5000} {
		c := alone(drift.Span{Hours: 1}, drift.Spread{PositionM: exactly(1852)})
		c.Obstacles = eastOf(distance)
		e := run(t, c)
		for _, p := range cloud(t, e, 0) {
			if p.EastM > distance {
				t.Fatalf("a start %g m inland of a shore at %g m", p.EastM-distance, distance)
			}
		}
		if n := len(e.Ashore.TimesH); n != 0 {
			t.Errorf("shore at %g m: %d ashore without any drift", distance, n)
		}
	}
	narrow := shores{eastOf(0.001), eastOf(-0.001)}
	c := alone(drift.Span{Hours: 1}, drift.Spread{PositionM: exactly(1852)})
	c.Obstacles = narrow
	for _, p := range cloud(t, run(t, c), 0) {
		if math.Abs(p.EastM) > 0.001 {
			t.Fatalf("start at %v m, outside a channel of 2 mm", p)
		}
	}
}

// odd is an obstacle whose share of the way is out of range.
type odd float64

func (o odd) Crossing(a, b geo.XY) (int, float64, bool) { return -7, float64(o), b.EastM > 1000 }

func TestShareOfTheWayIsHeldToIt(t *testing.T) {
	t.Parallel()
	c := alone(drift.Span{Hours: 2, Toward: quantity.Degrees(90), SpeedMS: quantity.Exactly(1)}, drift.Spread{})
	for share, want := range map[float64]float64{-3: 0.25, 8: 0.5} {
		c.Obstacles = odd(share)
		e := run(t, c)
		if got := e.Ashore.Passes(0); !got.Within || math.Abs(got.Hours-want) > 1e-12 || e.Lines[0].Line != -7 {
			t.Errorf("met at %g of the way: after %+v, want %g h", share, got, want)
		}
	}
}

// By counts, Passes is its inverse, and Given looks at the arrived alone.
func TestReachCounts(t *testing.T) {
	t.Parallel()
	r := drift.Reach{TimesH: []float64{2, 4, 4, 9}, Particles: 10, ForecastH: 12}
	for atH, want := range map[float64]float64{-1: 0, 1.9: 0, 2: 0.1, 3: 0.1, 4: 0.3, 9: 0.4, 12: 0.4, 99: 0.4} {
		if got := r.By(atH).Mid; got != want {
			t.Errorf("by %g h: %g, want %g", atH, got, want)
		}
	}
	for p, want := range map[float64]drift.When{
		0: {2, true}, 0.05: {2, true}, 0.1: {4, true}, 0.2: {4, true}, 0.3: {9, true}, 0.4: {}, 0.9: {}, 1: {}, -1: {},
	} {
		if got := r.Passes(p); got != want {
			t.Errorf("%g is passed at %+v, want %+v", p, got, want)
		}
	}
	for p, want := range map[float64]drift.When{0: {2, true}, 0.25: {2, true}, 0.5: {4, true}, 0.76: {9, true}, 1: {9, true}, 1.1: {}} {
		if got := r.Given(p); got != want {
			t.Errorf("%g of the arrived by %+v, want %+v", p, got, want)
		}
	}
	var none drift.Reach
	if none.Probability() != (quantity.Band{High: 1}) || none.Passes(0.1).Within || none.Given(0.5).Within {
		t.Error("the zero value knows something")
	}
	if got := r.Passes(math.NaN()); got.Within {
		t.Errorf("a share of no number is passed at %+v", got)
	}
}

// Help that takes an hour must be called an hour before the probability passes what is borne.
func TestNotLaterThan(t *testing.T) {
	t.Parallel()
	r := drift.Reach{TimesH: []float64{2, 4, 4, 9}, Particles: 10, ForecastH: 12}
	for _, c := range []struct {
		p, marginH float64
		want       drift.Limit
	}{
		{0.1, 1, drift.Limit{When: drift.When{Hours: 3, Within: true}}},
		{0.1, 4, drift.Limit{When: drift.When{Hours: 0, Within: true}}},
		{0.1, 4.5, drift.Limit{Passed: true}},
		{0.5, 4.5, drift.Limit{}},
	} {
		got := r.NotLaterThan(c.p, c.marginH)
		if got != c.want {
			t.Errorf("p %g, margin %g h: %+v, want %+v", c.p, c.marginH, got, c.want)
		}
		if got.Within && r.By(math.Nextafter(got.Hours+c.marginH, 0)).Mid > c.p {
			t.Errorf("p %g, margin %g h: %+v is too late", c.p, c.marginH, got)
		}
	}
}
