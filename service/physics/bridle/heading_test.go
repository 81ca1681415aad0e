package bridle_test

import (
	"math"
	"testing"

	"rideout/service/physics/bridle"
	"rideout/service/physics/quantity"
)

const stepRad = math.Pi / 180 // closer together than which Headings may miss two

// On a rode from the stem a vessel with nothing to one side lies head to wind, and between stable
// headings lie unstable ones.
func TestHeadingsOnAPlainRode(t *testing.T) {
	t.Parallel()
	for _, y := range []bridle.Lying{power, sail, cat} {
		for _, area := range []float64{0.3, 2, 8, 20, 200} {
			y.CanopyDragAreaM2 = area
			found, err := y.Headings(bridle.Plain(roller))
			if err != nil {
				t.Fatal(err)
			}
			if len(found)%2 != 0 || len(found) == 0 {
				t.Fatalf("drag area %g m2: %d headings round the compass, want an even number", area, len(found))
			}
			for i, e := range found {
				if before := found[(i+len(found)-1)%len(found)]; e.Stable == before.Stable {
					t.Errorf("drag area %g m2: neighbours %+v and %+v", area, before, e)
				}
				if e.ForeShare != 1 || e.AftShare != 0 {
					t.Errorf("shares %g and %g on one rode", e.ForeShare, e.AftShare)
				}
				if mirror := found[(2*len(found)-2-i)%len(found)]; math.Abs(math.Sin(e.Heading.Radians())) > math.Sin(stepRad) {
					near(t, "heading on the other side", mirror.Heading.Degrees(), -e.Heading.Degrees(), 1e-9)
				}
			}
		}
	}
	e := settle(t, power, bridle.Plain(bitt), 170)
	near(t, "head to wind", e.Heading.Degrees(), 0, 1e-9)
}

// Near head to wind the canopy takes K s v of a small force Y across her, and the water turns her by m s v: she is
// stable while K exceeds m over the arm of the wind.
func TestLeastCanopyInClosedForm(t *testing.T) {
	t.Parallel()
	y := calmSea(power)
	w, err := y.Wind(quantity.Degrees(1e-4))
	if err != nil {
		t.Fatal(err)
	}
	arm := w.MomentNM/w.AcrossN - bitt.FromBowM
	least := 0.68 * (0.8 - 0.08) * 14000 / arm / 512.5
	for _, c := range []struct {
		share  float64
		stable bool
	}{{0.98, false}, {1.02, true}} {
		y.CanopyDragAreaM2 = c.share * least
		found, err := y.Headings(bridle.Plain(bitt))
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range found {
			if math.Abs(e.Heading.Degrees()) < 1e-6 && e.Stable != c.stable {
				t.Errorf("%g of the least canopy, %.2f m2: head to wind stable %v", c.share, least, e.Stable)
			}
		}
	}
	// Balanced head to wind on the smaller one she falls off to either side, on the larger she stays.
	near(t, "on the larger", settle(t, y, bridle.Plain(bitt), 0).Heading.Degrees(), 0, 1e-9)
	y.CanopyDragAreaM2 = 0.5 * least
	if off := settle(t, y, bridle.Plain(bitt), 0); !off.Stable || math.Abs(off.Heading.Degrees()) < 20 {
		t.Errorf("on half the least canopy she stays at %+v", off)
	}
}

// With no sea a shift of the wind is only a turn of the compass: she ends as she began. With one the sea holds her
// back, the more the farther it comes off the bow.
func TestAfterShift(t *testing.T) {
	t.Parallel()
	b := set(t, power, bitt, cleat, -30, bridle.Limits{})
	for _, shift := range []float64{-90, -60, -30, -10, 10, 20} {
		flat := calmSea(power)
		before := settle(t, flat, b.Legs, -30)
		after, err := flat.AfterShift(b.Legs, before.Heading, quantity.Degrees(shift))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "heading in a flat sea", after.Heading.Degrees(), before.Heading.Degrees(), 1e-7)
	}
	for _, shift := range []float64{-90, -30, 30} {
		e, err := power.AfterShift(b.Legs, b.Heading, quantity.Degrees(shift))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "sea off the bow", e.SeaOffBow.Degrees(), e.Heading.Degrees()-shift, 1e-9)
		if swung := e.Heading.Degrees() + 30; swung*shift <= 0 {
			t.Errorf("wind shifted by %g: she lies %g further off, want her held back toward the sea", shift, swung)
		}
	}
	// A wind that goes right round to the other side leaves her hanging on the aft leg under the hull.
	e, err := power.AfterShift(b.Legs, b.Heading, quantity.Degrees(90))
	if err != nil {
		t.Fatal(err)
	}
	if !(e.Heading > 0 && e.Fouled) {
		t.Errorf("wind gone round to starboard: %+v, want the legs fouled", e)
	}
	_, err = power.AfterShift(b.Legs, b.Heading, quantity.Degrees(181))
	refuse(t, "shift of the wind", err)
}

// A gust at the old sea changes little, for the wind has most of the say; she is turned toward where the wind alone
// would have her.
func TestGust(t *testing.T) {
	t.Parallel()
	b := set(t, power, bitt, cleat, -30, bridle.Limits{})
	gust := power
	gust.Weather.WindMS *= 1.23
	e, alone := settle(t, gust, b.Legs, -30), settle(t, calmSea(power), b.Legs, -30)
	if turned, toward := e.Heading+quantity.Degrees(30), alone.Heading+quantity.Degrees(30); turned*toward <= 0 || math.Abs(float64(turned)) >= math.Abs(float64(toward)) {
		t.Errorf("turned by %g degrees in a gust, by %g without a sea", turned.Degrees(), toward.Degrees())
	}
	// A gust given as it is, and the mean it is the 60 s wind of, are the same load.
	asIs := power
	asIs.Weather.WindMS, asIs.Weather.AveragingS = gale, 600
	if a, b := at(t, asIs, 0), at(t, power, 0); !(a.AlongN < b.AlongN) {
		t.Errorf("%g N over 600 s, %g N over 60 s", a.AlongN, b.AlongN)
	}
}

// The tendencies lie to either side of the likely heading, in their order.
func TestSpread(t *testing.T) {
	t.Parallel()
	b := set(t, power, bitt, cleat, -45, bridle.Limits{})
	band, err := power.Spread(b.Legs, b.Heading)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "likely", band.Mid, -45, 1e-6)
	up, away := power, power
	up.Tendency, away.Tendency = bridle.BowUp, bridle.BowAway
	near(t, "bow up", settle(t, up, b.Legs, -45).Heading.Degrees(), band.High, 0)
	near(t, "bow away", settle(t, away, b.Legs, -45).Heading.Degrees(), band.Low, 0)
	if !(band.Low < band.Mid && band.Mid < band.High && band.High < 0) {
		t.Errorf("band %+v", band)
	}
	y := power
	y.Weather.WindMS = 0
	_, err = y.Spread(b.Legs, b.Heading)
	refuse(t, "wind speed", err)
}

// While the bow is forward of abeam a larger canopy never lets it fall farther off; a tiny one leaves her lying across the wind and a large one
// keeps the bow up in every tendency.
func TestYaw(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		y  bridle.Lying
		at bridle.Point
	}{{power, bitt}, {sail, roller}} {
		before := quantity.Band{Low: 180, Mid: 180, High: 180}
		for d := 0.5; d <= 8; d += 0.5 {
			c.y.CanopyDragAreaM2 = 0.75 * math.Pi / 4 * d * d
			got, err := c.y.Yaw(c.at)
			if err != nil {
				t.Fatal(err)
			}
			most := got.AtMostDeg
			farther := func(now, before float64) bool { return before < 90 && now > before+1e-9 }
			if farther(most.Low, before.Low) || farther(most.Mid, before.Mid) || farther(most.High, before.High) {
				t.Errorf("%g m: %+v after %+v", d, most, before)
			}
			if rest := got.AtRestDeg; rest.Mid > most.Mid || rest.High > most.High {
				t.Errorf("%g m: at rest %+v, at most %+v", d, rest, most)
			}
			if d == 0.5 && !(most.Low > 70) || d == 8 && !(most.High < bridle.YawLimit.Value) {
				t.Errorf("%g m: %+v", d, most)
			}
			before = most
		}
	}
}

func TestHeadingsRefuse(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	_, err := power.Settle(bridle.Plain(bitt), quantity.Angle(nan))
	refuse(t, "heading off the wind", err)
	_, err = power.Headings(bridle.Plain(bridle.Point{Name: "x", FromBowM: 99}))
	refuse(t, "distance from the bow of x", err)
	_, err = power.Headings(bridle.Legs{Fore: bridle.Leg{Point: bitt, LengthM: 1}, Aft: bridle.Leg{Point: cleat, LengthM: 1}})
	refuse(t, "length of the legs together", err)
	_, err = power.Yaw(bridle.Point{Name: "x", OffCentreM: nan})
	refuse(t, "distance off the centre line of x", err)
}
