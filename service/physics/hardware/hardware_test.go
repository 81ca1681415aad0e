package hardware_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"rideout/service/physics/hardware"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
)

// strength is a rope of a known as-used strength in N.
func strength(asUsedN float64) rode.Strength {
	return rode.Strength{NewN: quantity.Exactly(asUsedN / 0.85), NewSource: "the test", AsUsedN: quantity.Exactly(asUsedN)}
}

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s: got %.15g, want %.15g within %g of it", what, got, want, rel)
	}
}

func fullChain(t *testing.T) []hardware.Link {
	t.Helper()
	s, err := rode.StrengthOf(rode.ThreeStrand, 22, []rode.Termination{rode.ThimbledSplice}, rode.Condition{})
	if err != nil {
		t.Fatal(err)
	}
	shackle, err1 := hardware.Shackle("shackle at the canopy", 16, 0)
	chain, err2 := hardware.ChainOf("chafe chain", 10, hardware.Grade43)
	share, err3 := hardware.LegShare(quantity.Degrees(30))
	shrouds, err4 := hardware.UnknownShroudSet("shroud set", s)
	if err := errors.Join(err1, err2, err3, err4); err != nil {
		t.Fatal(err)
	}
	return []hardware.Link{hardware.StrongPoint("bow bitt", 40000), hardware.Rode("rode", s), hardware.Rode("aft leg", s).Sharing(share), shackle, hardware.Swivel("swivel", 30000), chain, shrouds}
}

func TestExactlyOnePartGovernsAndItIsTheMostUsed(t *testing.T) {
	t.Parallel()
	links := fullChain(t)
	for _, demand := range []float64{0, 100, 12000, 24000, 37000, 90000} {
		parts, err := hardware.Chain(links, demand, hardware.DefaultPolicy())
		if err != nil {
			t.Fatal(err)
		}
		governing, most := 0, 0.0
		for _, p := range parts {
			most = math.Max(most, p.Use)
		}
		for i, p := range parts {
			if p.Governing {
				governing++
				near(t, fmt.Sprintf("use of the governing part at %g N", demand), p.Use, most, 0)
			}
			near(t, p.Name+" demand", p.DemandN, demand*links[i].DemandShare, 1e-12)
			near(t, p.Name+" use", p.Use*p.CapacityN, p.DemandN, 1e-12)
			if p.Basis == "" {
				t.Errorf("%s has no basis", p.Name)
			}
		}
		if governing != 1 {
			t.Errorf("%g N: %d parts govern", demand, governing)
		}
	}
}

func TestOfEqualsTheFirstGoverns(t *testing.T) {
	t.Parallel()
	links := []hardware.Link{hardware.Swivel("weak", 2000), hardware.Swivel("first", 1000), hardware.Swivel("second", 1000)}
	parts, err := hardware.Chain(links, 900, hardware.DefaultPolicy())
	if err != nil {
		t.Fatal(err)
	}
	if parts[0].Governing || !parts[1].Governing || parts[2].Governing {
		t.Errorf("got %+v, want the first of the equals to govern", parts)
	}
}

func TestVerdictWords(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		demand float64
		want   hardware.Verdict
	}{{0, hardware.Within}, {800, hardware.Within}, {801, hardware.Marginal}, {1000, hardware.Marginal}, {1001, hardware.Over}} {
		parts, err := hardware.Chain([]hardware.Link{hardware.Swivel("swivel", 1000)}, tc.demand, hardware.DefaultPolicy())
		if err != nil {
			t.Fatal(err)
		}
		if parts[0].Verdict != tc.want {
			t.Errorf("%g N on 1000 N is %s, want %s", tc.demand, parts[0].Verdict, tc.want)
		}
	}
}

func TestPolicyDividesByTheRatingItNames(t *testing.T) {
	t.Parallel()
	policy := hardware.Policy{RopeFactor: 2, MetalFactor: 3, StrongPointFactor: 4, StrongPointRuleFactor: 5, ShroudFactor: 6, MarginalAbove: 0.9}
	ratings := []hardware.Rating{hardware.RopeBreaking, hardware.MetalWorkingLoad, hardware.BuilderWorking, hardware.StrongPointByRule, hardware.ShroudBreaking}
	for i, r := range ratings {
		parts, err := hardware.Chain([]hardware.Link{{Name: "part", RatedN: 6000, Rating: r, DemandShare: 1, Basis: "test"}}, 10, policy)
		if err != nil {
			t.Fatal(err)
		}
		near(t, string(r), parts[0].CapacityN, 6000/float64(i+2), 1e-12)
		if item := policy.Items()[i]; !strings.Contains(parts[0].Basis, item.Name) {
			t.Errorf("basis %q does not print %q", parts[0].Basis, item.Name)
		}
	}
}

func TestTablesGrowWithSize(t *testing.T) {
	t.Parallel()
	var last float64
	for mm := 6.0; mm <= 40; mm += 0.25 {
		n, listed, err := hardware.ShackleWLLN(mm)
		if err != nil || n < last || listed > mm {
			t.Fatalf("%g mm shackle: %g N after %g N, listed %g mm, %v", mm, n, last, listed, err)
		}
		last = n
	}
	for _, g := range []hardware.Grade{hardware.Grade30, hardware.Grade43, hardware.Grade70} {
		last = 0
		for mm := hardware.MinChainMM; mm <= hardware.MaxChainMM; mm += 0.05 {
			n, err := hardware.ChainWLLN(mm, g)
			if err != nil || n <= last {
				t.Fatalf("%g mm chain grade %d: %g N after %g N, %v", mm, g, n, last, err)
			}
			last = n
		}
	}
}

func TestSideLoadFallsWithAngle(t *testing.T) {
	t.Parallel()
	last := 1.0 + 1e-9
	for deg := 0.0; deg <= 90; deg++ {
		f, err := hardware.SideLoadFactor(quantity.Degrees(deg))
		if err != nil || f >= last {
			t.Fatalf("%g degrees: %g after %g, %v", deg, f, last, err)
		}
		last = f
	}
	straight, err1 := hardware.Shackle("s", 16, 0)
	aside, err2 := hardware.Shackle("s", 16, quantity.Degrees(90))
	if err := errors.Join(err1, err2); err != nil {
		t.Fatal(err)
	}
	near(t, "pulled across", aside.RatedN, straight.RatedN/2, 1e-12)
}

func TestBridleLegsHoldTheRode(t *testing.T) {
	t.Parallel()
	for deg := 0.0; deg <= 80; deg += 5 {
		share, err := hardware.LegShare(quantity.Degrees(deg))
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("both legs along the rode at %g degrees", deg), 2*share*math.Cos(quantity.Degrees(deg).Radians()), 1, 1e-12)
	}
}

func TestStrongPointsByDutyAndCategory(t *testing.T) {
	t.Parallel()
	lc, err := hardware.CalculationLengthM(12.2, 11.2)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "calculation length", lc, 11.7, 1e-12)
	last := math.Inf(1)
	for _, d := range []hardware.Duty{hardware.AnchorOrTow, hardware.ForwardMooring, hardware.AftMooring} {
		a, err1 := hardware.StrongPointN(d, hardware.CategoryA, lc, 14000)
		b, err2 := hardware.StrongPointN(d, hardware.CategoryB, lc, 14000)
		sheltered, err3 := hardware.StrongPointN(d, hardware.CategoryD, lc, 14000)
		if err := errors.Join(err1, err2, err3); err != nil {
			t.Fatal(err)
		}
		near(t, "category B as A", b, a, 0)
		near(t, "category D", sheltered, 0.75*a, 1e-12)
		if a >= last {
			t.Errorf("%s: %g N is not below the duty before, %g N", d, a, last)
		}
		last = a
	}
	for m := 100.0; m < 1e5; m *= 2 {
		n, err := hardware.StrongPointN(hardware.AnchorOrTow, hardware.CategoryA, lc, m)
		if err != nil || n > m*quantity.StandardGravityMS2 {
			t.Errorf("%g kg: %g N is above her weight, %v", m, n, err)
		}
	}
	l, err := hardware.StrongPointUnknown("bow cleat", hardware.AnchorOrTow, hardware.CategoryC, 7.7, 5000)
	if err != nil || l.Rating != hardware.StrongPointByRule || !strings.Contains(l.Basis, "assumption") {
		t.Errorf("got %+v, %v, want a link that says it is assumed", l, err)
	}
}

func TestUnknownShroudsSayTheyAreAssumed(t *testing.T) {
	t.Parallel()
	l, err := hardware.UnknownShroudSet("shroud set", strength(60000))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "as the wet rode", l.RatedN, 60000, 1e-12)
	if !strings.Contains(l.Basis, "assumption") {
		t.Errorf("basis %q does not say it is assumed", l.Basis)
	}
}

func TestDrogueLoadGrowsLessThanDisplacement(t *testing.T) {
	t.Parallel()
	small, err1 := hardware.DrogueDesignLoadN(5000)
	large, err2 := hardware.DrogueDesignLoadN(10000)
	twice, err3 := hardware.DrogueDesignLoadN(20000)
	if err := errors.Join(err1, err2, err3); err != nil {
		t.Fatal(err)
	}
	near(t, "a power law", twice/large, large/small, 1e-12)
	if r := large / small; !(r > 1 && r < 2) {
		t.Errorf("twice the displacement bears %g times the load", r)
	}
}

func TestRefused(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	good := hardware.Swivel("swivel", 1000)
	assess := func(demand float64, p hardware.Policy, links ...hardware.Link) func() error {
		return func() error { _, err := hardware.Chain(links, demand, p); return err }
	}
	def := hardware.DefaultPolicy()
	loose, late := def, def
	loose.RopeFactor, late.MarginalAbove = 0.5, 2
	for name, call := range map[string]func() error{
		"no parts":             assess(1, def),
		"zero policy":          assess(1, hardware.Policy{}, good),
		"factor below one":     assess(1, loose, good),
		"threshold over one":   assess(1, late, good),
		"NaN demand":           assess(nan, def, good),
		"unrated part":         assess(1, def, hardware.Link{Name: "x", Rating: hardware.RopeBreaking, DemandShare: 1}),
		"unknown rating":       assess(1, def, hardware.Link{Name: "x", RatedN: 10, DemandShare: 1}),
		"NaN share":            assess(1, def, good.Sharing(nan)),
		"shackle too small":    func() error { _, err := hardware.Shackle("s", 4, 0); return err },
		"shackle pulled back":  func() error { _, err := hardware.Shackle("s", 10, quantity.Degrees(120)); return err },
		"unknown grade":        func() error { _, err := hardware.ChainOf("c", 10, 80); return err },
		"chain too large":      func() error { _, err := hardware.ChainOf("c", 25, hardware.Grade30); return err },
		"breaking of no chain": func() error { _, err := hardware.ChainBreakN(0, 800); return err },
		"chain of no grade":    func() error { _, err := hardware.ChainBreakN(10, nan); return err },
		"leg across":           func() error { _, err := hardware.LegShare(quantity.Degrees(90)); return err },
		"unknown rode":         func() error { _, err := hardware.UnknownShroudSet("s", rode.Strength{}); return err },
		"hull too long":        func() error { _, err := hardware.CalculationLengthM(30, 20); return err },
		"waterline too long":   func() error { _, err := hardware.CalculationLengthM(10, 12); return err },
		"LC too long": func() error {
			_, err := hardware.StrongPointUnknown("s", hardware.AnchorOrTow, "A", 30, 1e4)
			return err
		},
		"no mass":              func() error { _, err := hardware.StrongPointN(hardware.AnchorOrTow, "A", 10, 0); return err },
		"category E":           func() error { _, err := hardware.StrongPointN(hardware.AnchorOrTow, "E", 10, 1e4); return err },
		"unknown duty":         func() error { _, err := hardware.StrongPointN("lifting", "A", 10, 1e4); return err },
		"rope of no strength":  func() error { _, _, err := hardware.RopeOnStrongPoint(0, 1e4); return err },
		"point of no strength": func() error { _, _, err := hardware.RopeOnStrongPoint(1e4, nan); return err },
		"drogue of a dinghy":   func() error { _, err := hardware.DrogueDesignLoadN(200); return err },
	} {
		if call() == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

func ExampleChain() {
	s, err := rode.StrengthOf(rode.ThreeStrand, 22, []rode.Termination{rode.ThimbledSplice, rode.Bowline}, rode.Condition{})
	if err != nil {
		fmt.Println(err)
		return
	}
	shackle, _ := hardware.Shackle("shackle", 16, 0)
	links := []hardware.Link{hardware.StrongPoint("bow bitt", 40000), hardware.Rode("rode", s), shackle}
	parts, err := hardware.Chain(links, 12000, hardware.DefaultPolicy())
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range parts {
		fmt.Printf("%-8s %5.1f of %5.1f kN, use %.2f, %s, governing %v\n", p.Name, p.DemandN/1000, p.CapacityN/1000, p.Use, p.Verdict, p.Governing)
	}
	// Output:
	// bow bitt  12.0 of  40.0 kN, use 0.30, within, governing false
	// rode      12.0 of  14.9 kN, use 0.81, marginal, governing true
	// shackle   12.0 of  31.9 kN, use 0.38, within, governing false
}
