package drift_test

import (
	"math"
	"testing"

	"rideout/service/physics/drift"
	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
)

var shares = []float64{0.5, 0.9, 0.95}

func regions(t testing.TB, e drift.Ensemble, atH float64) []drift.Region {
	t.Helper()
	r, err := e.Regions(atH, shares...)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// inside tells whether a place lies in a ring, by the number of its sides that a line toward east meets.
func inside(ring []geo.XY, p geo.XY) bool {
	in := false
	for i := 1; i < len(ring); i++ {
		a, b := ring[i-1], ring[i]
		if (a.NorthM > p.NorthM) != (b.NorthM > p.NorthM) &&
			p.EastM < a.EastM+(p.NorthM-a.NorthM)/(b.NorthM-a.NorthM)*(b.EastM-a.EastM) {
			in = !in
		}
	}
	return in
}

// ringOf brings a region's corners back onto the plane.
func ringOf(t testing.TB, start geo.Point, r drift.Region) []geo.XY {
	t.Helper()
	ring := make([]geo.XY, len(r.Ring))
	for i, p := range r.Ring {
		ring[i] = onPlane(t, start, p)
	}
	return ring
}

// clouds are cases with clouds of every form: round, bent by errors of direction, in two parts, and half ashore.
func clouds() map[string]drift.Case {
	open := galeCase()
	bent := galeCase()
	bent.Spread.WindDirection = drift.Growth{First: exactly(0.8), Last: exactly(0.8)}
	bent.Spread.WindScaleH = exactly(1000)
	parted := galeCase()
	parted.Spread.SwitchPerH = exactly(0)
	for i := range parted.Spans {
		parted.Spans[i].Divergence = quantity.Degrees(80)
		parted.Spans[i].Mode = i % 2
	}
	ashore := galeCase()
	ashore.Obstacles = eastOf(60e3)
	north := galeCase()
	north.Start = place(75, 179)
	return map[string]drift.Case{"open ocean": open, "bent": bent, "parted": parted, "half ashore": ashore, "75 N": north}
}

// A region holds its share of the particles of other seeds, whatever the form of the cloud.
func TestRegionsHoldTheirShareOfOtherParticles(t *testing.T) {
	t.Parallel()
	const others = 8000
	for name, c := range clouds() {
		e := run(t, c)
		if p := e.Ashore.Probability().Mid; name == "half ashore" && (p < 0.3 || p > 0.7) {
			t.Errorf("%s: %.2f are ashore, the case is for about a half", name, p)
		}
		fresh := c
		fresh.Seed, fresh.Particles = 99, others
		independent := run(t, fresh)
		for _, atH := range []float64{6, 24, 48} {
			for _, r := range regions(t, e, atH) {
				ring, n := ringOf(t, c.Start, r), 0
				for _, p := range cloud(t, independent, atH) {
					if inside(ring, p) {
						n++
					}
				}
				got := float64(n) / others
				// the 64 corners stand out of the ellipse by 0.12 % of the radius, which holds up to 0.2 % more
				tol := surely*math.Sqrt(r.Share*(1-r.Share)*(1/float64(c.Particles)+1.0/others)) + 0.002
				if math.Abs(got-r.Share) > tol {
					t.Errorf("%s, %g h: the region of %g holds %.4f of other particles, tolerance %.4f", name, atH, r.Share, got, tol)
				}
			}
		}
	}
}

// A ring is closed, goes counterclockwise, and has the area stated for it; a larger share has a larger area.
func TestRegionsAreRings(t *testing.T) {
	t.Parallel()
	c := galeCase()
	before := 0.0
	for _, r := range regions(t, run(t, c), 48) {
		ring := ringOf(t, c.Start, r)
		if r.Ring[0] != r.Ring[len(r.Ring)-1] {
			t.Error("a ring is not closed")
		}
		area := 0.0
		for i := 1; i < len(ring); i++ {
			area += (ring[i-1].EastM*ring[i].NorthM - ring[i].EastM*ring[i-1].NorthM) / 2
		}
		if math.Abs(area/r.AreaM2-1) > 1e-6 {
			t.Errorf("share %g: %.0f m2 stated, the ring has %.0f, counterclockwise", r.Share, r.AreaM2, area)
		}
		if ellipse := math.Pi * r.SemiMajorM * r.SemiMinorM; r.AreaM2 <= before || r.AreaM2 < ellipse || r.AreaM2 > 1.001*ellipse {
			t.Errorf("share %g: area %.0f m2, that of the ellipse %.0f, the share before %.0f", r.Share, r.AreaM2, ellipse, before)
		}
		if !inside(ring, onPlane(t, c.Start, r.Centre)) || r.SemiMajorM < r.SemiMinorM {
			t.Errorf("share %g: centre outside, or half axes %.0f and %.0f m out of order", r.Share, r.SemiMajorM, r.SemiMinorM)
		}
		before = r.AreaM2
	}
}

// The error of the start alone makes circles with the radii of a circular normal distribution.
func TestFirstErrorMakesTheCircle(t *testing.T) {
	t.Parallel()
	c := alone(drift.Span{Hours: 1}, drift.Spread{PositionM: exactly(1000)})
	for _, r := range regions(t, run(t, c), 1) {
		want, err := drift.CircularRadiusM(1000, r.Share)
		if err != nil {
			t.Fatal(err)
		}
		sigma := 1000 / math.Sqrt(2*math.Ln2)
		slope := want / sigma / sigma * (1 - r.Share) // density of distances at the radius
		tol := surely * math.Sqrt(r.Share*(1-r.Share)/enough) / slope
		if got := math.Sqrt(r.SemiMajorM * r.SemiMinorM); math.Abs(got-want) > tol {
			t.Errorf("share %g: radius %.1f m, want %.1f +- %.1f", r.Share, got, want, tol)
		}
	}
}

// Errors of the wind's speed that last, and smaller ones of the current, make an ellipse along the drift whose axes are
// known. Half of a normal distribution lies within 1.1774 standard deviations.
func TestRegionLiesAlongTheDrift(t *testing.T) {
	t.Parallel()
	const towardDeg, hours = 30.0, 10.0
	c := alone(drift.Span{Hours: hours, Toward: quantity.Degrees(towardDeg), SpeedMS: quantity.Exactly(1)}, drift.Spread{
		WindShare: drift.Growth{First: exactly(0.2), Last: exactly(0.2)}, WindScaleH: exactly(1e9),
		CurrentMS: exactly(0.05), CurrentScaleH: exactly(1e9),
	})
	r := regions(t, run(t, c), hours)[0]
	unit := hours * 3600 * math.Sqrt(2*math.Ln2)
	for name, a := range map[string]struct{ got, want float64 }{
		"long":  {r.SemiMajorM, unit * math.Hypot(0.2, 0.05)},
		"short": {r.SemiMinorM, unit * 0.05},
	} {
		// the radius's standard error is 0.72/sqrt(n) of it, the deviation's 0.71/sqrt(n)
		if math.Abs(a.got/a.want-1) > surely*1.02/math.Sqrt(enough) {
			t.Errorf("%s half axis %.0f m, want %.0f", name, a.got, a.want)
		}
	}
	end := onPlane(t, c.Start, r.Ring[0])
	centre := onPlane(t, c.Start, r.Centre)
	axis := quantity.Angle(math.Atan2(end.EastM-centre.EastM, end.NorthM-centre.NorthM))
	if off := math.Sin((axis - quantity.Degrees(towardDeg)).Radians()); math.Abs(off) > surely*0.25/math.Sqrt(enough) {
		t.Errorf("the long axis points to %.2f deg, want %g or the opposite", axis.Normalised().Degrees(), towardDeg)
	}
}

// A vessel without errors has a region that can be drawn.
func TestRegionOfOnePlace(t *testing.T) {
	t.Parallel()
	c := alone(drift.Span{Hours: 1, SpeedMS: quantity.Exactly(1)}, drift.Spread{})
	e := run(t, c)
	for _, r := range regions(t, e, 1) {
		if r.SemiMajorM != 1 || r.SemiMinorM != 1 {
			t.Errorf("half axes %g and %g m, want 1", r.SemiMajorM, r.SemiMinorM)
		}
	}
	for _, share := range []float64{0, 1, math.NaN()} {
		if _, err := e.Regions(1, share); err == nil {
			t.Errorf("share %g: taken", share)
		}
	}
	if _, err := e.Regions(0.5, 0.5); err == nil {
		t.Error("an instant that was not kept: taken")
	}
}
