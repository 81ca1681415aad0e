package rode_test

import (
	"fmt"
	"math"
	"testing"

	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
)

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s: got %.15g, want %.15g within %g of it", what, got, want, rel)
	}
}

func TestStrengthAndMassGrowWithDiameter(t *testing.T) {
	t.Parallel()
	for _, c := range rode.Constructions() {
		var strength, mass float64
		for mm := 8.0; mm <= 50.8; mm += 0.1 {
			b, err := rode.BreakingN(c, mm)
			if err != nil {
				t.Fatal(err)
			}
			m, err := rode.MassPerMetreKg(c, mm)
			if err != nil {
				t.Fatal(err)
			}
			if !(b.Mid > strength && m > mass && b.Low <= b.Mid && b.Mid <= b.High && b.Source != "") {
				t.Fatalf("%s %g mm: strength %+v after %g N, mass %g after %g kg/m", c, mm, b, strength, m, mass)
			}
			strength, mass = b.Mid, m
		}
	}
}

func TestDoubleBraidBelowTheTableGoesAsTheSquare(t *testing.T) {
	t.Parallel()
	first, err := rode.BreakingN(rode.DoubleBraid, 25.4)
	if err != nil {
		t.Fatal(err)
	}
	half, err := rode.BreakingN(rode.DoubleBraid, 12.7)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "half the diameter", half.Mid, first.Mid/4, 1e-12)
	near(t, "width of the band", half.High/half.Mid, 1.1, 1e-12)
	if half.Source == first.Source {
		t.Error("the extension below the table must be said in the source")
	}
}

func TestWorstTerminationCountsOnce(t *testing.T) {
	t.Parallel()
	of := func(ends ...rode.Termination) rode.Strength {
		s, err := rode.StrengthOf(rode.ThreeStrand, 22, ends, rode.Condition{})
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	bowline := of(rode.Bowline)
	both := of(rode.ThimbledSplice, rode.Bowline, rode.Bowline)
	if both.AsUsedN != bowline.AsUsedN || len(both.Factors) != 2 || both.Factors[1].Name != "bowline" {
		t.Errorf("got %+v, want the strength of the bowline alone, %+v", both, bowline)
	}
	near(t, "wet bowline", bowline.AsUsedN.Mid, bowline.NewN.Mid*0.85*0.71, 1e-12)
	near(t, "no termination", of().AsUsedN.Mid, bowline.NewN.Mid*0.85, 1e-12)
}

func TestStrengthIsTheProductOfItsFactors(t *testing.T) {
	t.Parallel()
	s, err := rode.StrengthOf(rode.DoubleBraid, 18, []rode.Termination{rode.AnchorBend}, rode.Condition{WeatherYears: 3, ChafedShare: 0.1})
	if err != nil {
		t.Fatal(err)
	}
	low, high := s.NewN.Low, s.NewN.High
	for _, f := range s.Factors {
		low, high = low*f.Value.Low, high*f.Value.High
		if f.Source == "" {
			t.Errorf("factor %s has no source", f.Name)
		}
	}
	if len(s.Factors) != 4 {
		t.Errorf("got %d factors, want wet, termination, weather and chafe", len(s.Factors))
	}
	near(t, "low", s.AsUsedN.Low, low, 1e-12)
	near(t, "high", s.AsUsedN.High, high, 1e-12)
}

func TestWeatherCostsTheSameShareEveryYear(t *testing.T) {
	t.Parallel()
	for y := 0.0; y < 12; y++ {
		a, err := rode.WeatherFactor(y)
		if err != nil {
			t.Fatal(err)
		}
		b, err := rode.WeatherFactor(y + 2)
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("two years after %g", y), b/a, 0.70, 1e-12)
	}
}

func TestStrengthRefuses(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	for name, call := range map[string]func() error{
		"unknown construction": func() error { _, err := rode.BreakingN("wire", 20); return err },
		"thin three-strand":    func() error { _, err := rode.BreakingN(rode.ThreeStrand, 4); return err },
		"thick plaited":        func() error { _, err := rode.BreakingN(rode.Plaited, 60); return err },
		"thin double braid":    func() error { _, err := rode.BreakingN(rode.DoubleBraid, 6); return err },
		"NaN double braid":     func() error { _, err := rode.BreakingN(rode.DoubleBraid, nan); return err },
		"strength of no rope":  func() error { _, err := rode.StrengthOf("", 20, nil, rode.Condition{}); return err },
		"unknown knot": func() error {
			_, err := rode.StrengthOf(rode.Plaited, 20, []rode.Termination{"granny"}, rode.Condition{})
			return err
		},
		"old beyond the theory": func() error {
			_, err := rode.StrengthOf(rode.Plaited, 20, nil, rode.Condition{WeatherYears: 40})
			return err
		},
		"chafed through": func() error {
			_, err := rode.StrengthOf(rode.Plaited, 20, nil, rode.Condition{ChafedShare: 0.8})
			return err
		},
		"negative strength":  func() error { _, err := rode.Derate(quantity.Exactly(-1), "", nil, rode.Condition{}); return err },
		"mass of no rope":    func() error { _, err := rode.MassPerMetreKg("wire", 20); return err },
		"mass of thin braid": func() error { _, err := rode.MassPerMetreKg(rode.Plaited, 1); return err },
		"weight of negative": func() error { _, err := rode.WeightInWaterNM(-1); return err },
		"sinker of negative": func() error { _, err := rode.SteelWeightInWaterN(-1); return err },
		"no weather":         func() error { _, err := rode.CustomaryPayOutM("breeze", 12, 180); return err },
		"no boat":            func() error { _, err := rode.CustomaryPayOutM(rode.Gale, 0, 180); return err },
		"no rode":            func() error { _, err := rode.CustomaryPayOutM(rode.Gale, 12, nan); return err },
		"rode of no boat":    func() error { _, err := rode.CustomaryLengthM(1); return err },
	} {
		if call() == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

func ExampleStrengthOf() {
	s, err := rode.StrengthOf(rode.ThreeStrand, 22, []rode.Termination{rode.ThimbledSplice, rode.Bowline}, rode.Condition{WeatherYears: 1})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("new %.1f kN\n", s.NewN.Mid/1000)
	for _, f := range s.Factors {
		fmt.Printf("x %.2f %s\n", f.Value.Mid, f.Name)
	}
	fmt.Printf("as used %.1f (%.1f-%.1f) kN\n", s.AsUsedN.Mid/1000, s.AsUsedN.Low/1000, s.AsUsedN.High/1000)

	c, _ := rode.NewCurve(rode.StaticA.Mid, s.AsUsedN.Mid)
	e, _ := c.StretchAt(4000)
	fmt.Printf("183 m stretches %.1f m under 4 kN\n", 183*e)
	// Output:
	// new 78.3 kN
	// x 0.85 wet
	// x 0.71 bowline
	// x 0.84 weather
	// as used 39.5 (37.3-41.8) kN
	// 183 m stretches 17.8 m under 4 kN
}
