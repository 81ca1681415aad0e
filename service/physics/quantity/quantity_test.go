package quantity_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"rideout/service/physics/quantity"
)

func TestExactConversions(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		what           string
		got, want, tol float64
	}{
		{"a knot is 1852/3600 m/s", quantity.MetresPerSecond(1), 1852.0 / 3600, 1e-16},
		{"and back", quantity.Knots(quantity.MetresPerSecond(37.5)), 37.5, 1e-13},
		{"a pound-force is 4.4482216152605 N", quantity.NewtonsPerPoundForce, 4.4482216152605, 1e-15},
		{"half a turn", quantity.Degrees(180).Radians(), math.Pi, 1e-15},
		{"in degrees", quantity.Degrees(57).Degrees(), 57, 1e-13},
		{"-90 degrees is 270", quantity.Degrees(-90).Normalised().Degrees(), 270, 1e-12},
		{"a hair under north is under a turn", quantity.Angle(-1e-18).Normalised().Radians(), 0, 0},
		{"350 and 10 are 20 apart", quantity.Degrees(350).Apart(quantity.Degrees(10)).Degrees(), 20, 1e-12},
	} {
		if math.Abs(c.got-c.want) > c.tol {
			t.Errorf("%s: %.17g, want %.17g", c.what, c.got, c.want)
		}
	}
}

func TestBands(t *testing.T) {
	t.Parallel()
	if b := quantity.BandOf(3, 2, 1); b != (quantity.Band{Low: 1, Mid: 2, High: 3}) {
		t.Errorf("BandOf(3, 2, 1) = %+v", b)
	}
	if b := quantity.BandOf(1, 2, 3).Scale(-2); b != (quantity.Band{Low: -6, Mid: -4, High: -2}) {
		t.Errorf("scaled by -2: %+v", b)
	}
	if !quantity.Exactly(2).Known() || quantity.BandOf(1, 2, 3).Known() {
		t.Error("a band is known when it has no width")
	}
}

func TestWithinRefusesNaN(t *testing.T) {
	t.Parallel()
	var out *quantity.RangeError
	if err := quantity.Within("depth", math.NaN(), 0, 1, "m"); !errors.As(err, &out) || out.Name != "depth" || err.Error() == "" {
		t.Errorf("NaN: %v", err)
	}
	if err := quantity.Within("depth", 1, 0, 1, "m"); err != nil {
		t.Errorf("the limit itself: %v", err)
	}
}

// A gale of 40 kn in SI.
func Example() {
	fmt.Printf("%.2f m/s\n", quantity.MetresPerSecond(40))
	// Output: 20.58 m/s
}
