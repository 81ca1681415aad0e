package bridle_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"rideout/service/physics/bridle"
	"rideout/service/physics/quantity"
)

func shares(t *testing.T, l bridle.Legs, leadsDeg float64) (fore, aft float64) {
	t.Helper()
	fore, aft, err := l.Shares(quantity.Degrees(leadsDeg))
	if err != nil {
		t.Fatal(err)
	}
	return fore, aft
}

// Whatever the legs and the lead: no leg pushes, together they bear the whole, and a small turn of the rode changes
// little, also where a leg goes slack.
func TestSharesOfAnyLegs(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(1, 2))
	for range 60 {
		p := func() bridle.Point {
			return bridle.Point{FromBowM: 12 * rng.Float64(), OffCentreM: 4*rng.Float64() - 2}
		}
		l := bridle.Legs{Fore: bridle.Leg{Point: p()}, Aft: bridle.Leg{Point: p()}}
		apart := math.Hypot(l.Fore.Point.FromBowM-l.Aft.Point.FromBowM, l.Fore.Point.OffCentreM-l.Aft.Point.OffCentreM)
		l.Fore.LengthM, l.Aft.LengthM = apart*(0.6+2*rng.Float64()), apart*(0.6+2*rng.Float64())
		lastFore, lastAft := shares(t, l, -180)
		for deg := -179.9; deg <= 180; deg += 0.1 {
			fore, aft := shares(t, l, deg)
			// Along the rode the parts make up the whole, so their sum is never below it.
			if fore < -1e-9 || aft < -1e-9 || fore+aft < 1-1e-9 {
				t.Fatalf("%s, lead %.1f: shares %g and %g", l, deg, fore, aft)
			}
			// A share changes no faster than 1/sin of the angle between the legs; legs in line are left out.
			if fore+aft < 3 && math.Abs(fore-lastFore)+math.Abs(aft-lastAft) > 0.1 {
				t.Fatalf("%s, lead %.1f: shares jump from %g, %g to %g, %g", l, deg, lastFore, lastAft, fore, aft)
			}
			lastFore, lastAft = fore, aft
		}
	}
}

// Square bridle: equal at the centre; as the rode leads to starboard the leg to port takes more, as its bow is
// farther from the rode, and all of it beyond half the angle between the legs.
func TestSquare(t *testing.T) {
	t.Parallel()
	l, err := bridle.Square(portBow, starBow, cat.Hull.BeamM)
	if err != nil {
		t.Fatal(err)
	}
	half := math.Asin(2.7 / l.Fore.LengthM)
	port, star := shares(t, l, 0)
	near(t, "port", port, 1/(2*math.Cos(half)), 1e-12)
	near(t, "starboard", star, port, 1e-12)
	halfDeg := half * 180 / math.Pi
	for _, off := range []float64{0.3, 0.6, 0.99} {
		port, star = shares(t, l, off*halfDeg)
		// The sine rule on the triangle of forces.
		near(t, "leg to port", port, math.Sin(half*(1+off))/math.Sin(2*half), 1e-12)
		near(t, "leg to starboard", star, math.Sin(half*(1-off))/math.Sin(2*half), 1e-12)
	}
	for _, off := range []float64{1.001, 2, 5} {
		port, star = shares(t, l, off*halfDeg)
		if port != 1 || star != 0 {
			t.Errorf("rode %g half angles to starboard: shares %g and %g, want all on port", off, port, star)
		}
	}
	e := settle(t, cat, l, 25)
	near(t, "heading square to the wind", e.Heading.Degrees(), 0, 1e-9)
	if !e.Stable || e.Fouled {
		t.Errorf("square to the wind: %+v, want stable and clear", e)
	}
}

func TestLegsRefuse(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	good := bridle.Legs{Fore: bridle.Leg{Point: bitt, LengthM: 4}, Aft: bridle.Leg{Point: cleat, LengthM: 6}}
	for name, spoil := range map[string]func(*bridle.Legs){
		"bridle leg from bow bitt":           func(l *bridle.Legs) { l.Fore.LengthM = -1 },
		"bridle leg from port midship cleat": func(l *bridle.Legs) { l.Aft.LengthM = nan },
		"place of bow bitt":                  func(l *bridle.Legs) { l.Fore.Point.OffCentreM = nan },
		"length of the legs together":        func(l *bridle.Legs) { l.Fore.LengthM, l.Aft.LengthM = 2, 3 },
	} {
		l := good
		spoil(&l)
		_, _, err := l.Shares(0)
		refuse(t, name, err)
	}
	_, _, err := good.Shares(quantity.Angle(nan))
	refuse(t, "lead of the rode off the bow", err)
	_, err = bridle.Square(portBow, starBow, nan)
	refuse(t, "beam", err)
	if _, err := bridle.Practice("raft"); err == nil {
		t.Error("practice for a raft: no error")
	}
}
