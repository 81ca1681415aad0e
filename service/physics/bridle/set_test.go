package bridle_test

import (
	"errors"
	"math"
	"testing"

	"rideout/service/physics/bridle"
	"rideout/service/physics/quantity"
)

// The pull of the two legs, each along its own line from its own point, takes up force and moment; and lies she
// does where she was set to.
func TestSetIsInBalance(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		y         bridle.Lying
		fore, aft bridle.Point
	}{{power, bitt, cleat}, {sail, roller, winch}, {power, bitt, mirrored(cleat)}} {
		for _, deg := range []float64{10, 20, 30, 45, 60, 75, 90} {
			deg = math.Copysign(deg, c.aft.OffCentreM)
			b, r := set(t, c.y, c.fore, c.aft, deg, bridle.Limits{}), at(t, c.y, deg)
			along, port, moment := r.AlongN, r.AcrossN, r.MomentNM
			for _, leg := range []struct {
				l     bridle.Leg
				share float64
			}{{b.Fore, b.ForeShare}, {b.Aft, b.AftShare}} {
				dx, dy := b.MeetsAt.FromBowM-leg.l.Point.FromBowM, b.MeetsAt.OffCentreM-leg.l.Point.OffCentreM
				near(t, "length of the leg", leg.l.LengthM, math.Hypot(dx, dy), 1e-9)
				pull := leg.share * r.RodeN
				fx, fport := pull*dx/leg.l.LengthM, -pull*dy/leg.l.LengthM
				along, port = along+fx, port+fport
				moment += leg.l.Point.FromBowM*fport + leg.l.Point.OffCentreM*fx
				if leg.share < 0.05 || leg.share > 1 {
					t.Errorf("%g degrees: %s bears %g", deg, leg.l.Point.Name, leg.share)
				}
			}
			near(t, "along", along, 0, 1e-9*r.RodeN)
			near(t, "across", port, 0, 1e-9*r.RodeN)
			near(t, "moment", moment, 0, 1e-9*r.RodeN*c.y.Hull.LOAM)
			near(t, "angle between the legs", b.LegAngle.Degrees(), 60, 1e-6)
			e := settle(t, c.y, b.Legs, deg+5)
			near(t, "heading she comes to", e.Heading.Degrees(), deg, 1e-6)
			near(t, "stiffness", e.StiffnessNMPerRad, b.StiffnessNMPerRad, 1e-4*b.StiffnessNMPerRad)
			near(t, "share of the bow leg", e.ForeShare, b.ForeShare, 1e-6)
			near(t, "distance of the meeting point", b.MeetsAtM, math.Hypot(b.MeetsAt.FromBowM, b.MeetsAt.OffCentreM), 1e-9)
			if !e.Stable || e.Fouled || !(b.StiffnessNMPerRad > 0) {
				t.Errorf("%g degrees: %+v, want stable and clear of the deck", deg, e)
			}
		}
	}
}

func TestSetMirrors(t *testing.T) {
	t.Parallel()
	for _, deg := range []float64{15, 40, 80} {
		p := set(t, power, bitt, cleat, -deg, bridle.Limits{})
		s := set(t, power, bitt, mirrored(cleat), deg, bridle.Limits{})
		near(t, "bow leg", p.Fore.LengthM, s.Fore.LengthM, 1e-9)
		near(t, "aft leg", p.Aft.LengthM, s.Aft.LengthM, 1e-9)
		near(t, "place of meeting", p.MeetsAt.OffCentreM, -s.MeetsAt.OffCentreM, 1e-9)
		near(t, "stiffness", p.StiffnessNMPerRad, s.StiffnessNMPerRad, 1e-5*s.StiffnessNMPerRad)
	}
}

// A longer reach makes longer legs, a smaller angle and a stiffer hold; a short limit brings the legs in.
func TestSetWithinLimits(t *testing.T) {
	t.Parallel()
	before := bridle.Bridle{LegAngle: math.Pi}
	for _, reach := range []float64{2, 4, 8, 16} {
		b := set(t, power, bitt, cleat, -30, bridle.Limits{ReachM: reach})
		near(t, "reach", b.ReachM, reach, 0)
		if !(b.LegAngle < before.LegAngle && b.StiffnessNMPerRad > before.StiffnessNMPerRad && b.Fore.LengthM > before.Fore.LengthM) {
			t.Errorf("reach %g: %+v after %+v", reach, b, before)
		}
		before = b
	}
	short := set(t, power, bitt, cleat, -30, bridle.Limits{LongestLegM: 5})
	near(t, "longer leg", math.Max(short.Fore.LengthM, short.Aft.LengthM), 5, 1e-9)
	if short.LegAngle.Degrees() <= 60 || short.LegAngle.Degrees() > 120 {
		t.Errorf("angle between legs of at most 5 m: %g", short.LegAngle.Degrees())
	}
}

// On a small canopy in a flat sea the legs that stand at 60 degrees do not hold her at 10 degrees off; longer ones
// do, with just the stiffness asked for, and where the limit forbids them she is refused.
func TestSetLengthensLegsUntilStable(t *testing.T) {
	t.Parallel()
	y := calmSea(sail)
	y.CanopyDragAreaM2 = 4
	b := set(t, y, roller, winch, -10, bridle.Limits{})
	if b.LegAngle.Degrees() >= 60 {
		t.Errorf("%g degrees between the legs, want closer than 60", b.LegAngle.Degrees())
	}
	near(t, "stiffness", b.StiffnessNMPerRad, 0.05*b.RodeN*y.Hull.LOAM, 1e-4*b.RodeN*y.Hull.LOAM)
	longest := math.Max(b.Fore.LengthM, b.Aft.LengthM)
	refused(t, y, roller, winch, -10, bridle.Limits{LongestLegM: longest - 0.1}, bridle.Unstable)
	refused(t, y, roller, winch, -10, bridle.Limits{ReachM: b.ReachM - 0.1}, bridle.Unstable)
}

// refused wants a reason, and that the nearest heading named is one that holds.
func refused(t *testing.T, y bridle.Lying, fore, aft bridle.Point, deg float64, lim bridle.Limits, why bridle.Reason) *bridle.Refusal {
	t.Helper()
	_, err := y.Set(fore, aft, quantity.Degrees(deg), lim)
	var r *bridle.Refusal
	if !errors.As(err, &r) || r.Reason != why {
		t.Fatalf("%g degrees: got %v, want a refusal for %s", deg, err, why)
	}
	if r.Nearest != nil {
		set(t, y, fore, aft, r.Nearest.Degrees(), lim)
	}
	return r
}

func TestSetRefuses(t *testing.T) {
	t.Parallel()
	forward := bridle.Point{Name: "forward cleat", FromBowM: 1.4, OffCentreM: -1}
	none := bridle.Limits{}
	r := refused(t, power, bitt, forward, -75, none, bridle.LineOutside)
	if r.Nearest == nil || !(r.Nearest.Degrees() > -75 && r.Nearest.Degrees() < 0) {
		t.Errorf("nearest to 75 degrees on a cleat far forward: %v", r.Nearest)
	}
	refused(t, power, bitt, cleat, 0, none, bridle.LineOutside)
	lee := refused(t, power, bitt, cleat, 30, none, bridle.ToLeeward)
	near(t, "nearest with the wind on the other side", lee.Nearest.Degrees(), -30, 1e-9)
	refused(t, power, bitt, cleat, -30, bridle.Limits{LongestLegM: 3}, bridle.LegsTooLong)
	refused(t, power, bitt, cleat, -30, bridle.Limits{LongestLegM: 8, ReachM: 12}, bridle.LegsTooLong)
	refused(t, power, bitt, cleat, -30, bridle.Limits{ReachM: 0.1}, bridle.TooWide)
	if r := refused(t, power, bitt, cleat, -30, bridle.Limits{LongestLegM: 0.5}, bridle.LegsTooLong); r.Nearest != nil {
		t.Errorf("legs of half a metre hold her at %v", r.Nearest)
	} else if got, want := r.Error(), "heading -30 degrees off the wind cannot be held (legs_too_long); no heading can be held"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if got, want := lee.Error(), "heading 30 degrees off the wind cannot be held (aft_point_to_leeward); the nearest held is -30 degrees"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	nan := math.NaN()
	for _, c := range []struct {
		name      string
		fore, aft bridle.Point
		deg       float64
		lim       bridle.Limits
	}{
		{"heading off the wind", bitt, cleat, 91, none},
		{"distance from the bow of x", bridle.Point{Name: "x", FromBowM: nan}, cleat, -30, none},
		{"distance off the centre line of x", bitt, bridle.Point{Name: "x", OffCentreM: nan}, -30, none},
		{"distance between bow bitt and bow bitt", bitt, bitt, -30, none},
		{"longest leg", bitt, cleat, -30, bridle.Limits{LongestLegM: nan}},
		{"reach of the bridle", bitt, cleat, -30, bridle.Limits{ReachM: -1}},
	} {
		_, err := power.Set(c.fore, c.aft, quantity.Degrees(c.deg), c.lim)
		refuse(t, c.name, err)
	}
}

// What Range says holds at its ends and nowhere beyond.
func TestRange(t *testing.T) {
	t.Parallel()
	forward := bridle.Point{Name: "forward cleat", FromBowM: 2, OffCentreM: 1.2}
	least, most, held, err := power.Range(bitt, forward, bridle.Limits{})
	if err != nil || !held {
		t.Fatal(held, err)
	}
	set(t, power, bitt, forward, least.Degrees(), bridle.Limits{})
	set(t, power, bitt, forward, most.Degrees(), bridle.Limits{})
	refused(t, power, bitt, forward, most.Degrees()+1, bridle.Limits{}, bridle.LineOutside)
	refused(t, power, bitt, forward, least.Degrees()-1, bridle.Limits{}, bridle.LineOutside)
	if _, _, held, err := power.Range(bitt, forward, bridle.Limits{LongestLegM: 0.2}); held || err != nil {
		t.Errorf("legs of 0.2 m: held %v, error %v", held, err)
	}
}
