package planner_test

import (
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
	"rideout/service/planner"
)

var update = flag.Bool("update", false, "write the goldens")

// quick makes the loads cheap: two records on one length of rode, and no spread that the test is not about.
func quick(r planner.Request) planner.Request {
	r.RodeTried = []float64{120}
	return few(r)
}

func few(r planner.Request) planner.Request {
	seeds := 2
	r.Assume.Seeds, r.Assume.StaticA, r.Assume.RelaxationS, r.Assume.WaveDriftShare = &seeds, some(1), some(60), some(1)
	return r
}

// petrel is a sailing vessel with one hull, gannet a catamaran, both with points fore and aft.
func petrel() planner.Request {
	r := kestrel()
	r.Vessel = planner.Vessel{
		Name: "Vestvik Petrel", Hull: hull.SailMonohull, LOAM: 10.1, LWLM: 8.6, BeamM: 3.3, DraughtM: 1.8, DisplacementKg: 5600,
		StrongPoints: []planner.StrongPoint{{Name: "stemhead cleat", FromBowM: 0.4, WorkingLoadN: 18000}, {Name: "starboard quarter cleat", FromBowM: 9.2, OffCentreM: 1.2, WorkingLoadN: 15000}},
	}
	r.Gear.Canopy.DiameterM = 4.5
	return r
}

func gannet() planner.Request {
	r := kestrel()
	r.Vessel = planner.Vessel{
		Name: "Gannet of Hamna", Hull: hull.SailMultihull, LOAM: 11.7, LWLM: 11.3, BeamM: 6.5, DraughtM: 1.1, DisplacementKg: 7600,
		StrongPoints: []planner.StrongPoint{
			{Name: "port bow pad eye", FromBowM: 0.4, OffCentreM: -2.6, WorkingLoadN: 30000},
			{Name: "starboard bow pad eye", FromBowM: 0.4, OffCentreM: 2.6, WorkingLoadN: 30000},
			{Name: "port quarter cleat", FromBowM: 11, OffCentreM: -2.9, WorkingLoadN: 20000},
		},
	}
	return r
}

// Headings asked for by three vessels: legs, loads and stability, and why. The golden is read by people.
func TestBridlesByHeading(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	for _, ask := range []func() planner.Request{kestrel, petrel, gannet} {
		for _, deg := range []float64{0, 20, 30, 45, 75} {
			r := quick(ask())
			if deg > 0 {
				h := quantity.Degrees(deg)
				r.Wish.HeadingOffWind = &h
			}
			fmt.Fprintf(&b, "%s, asked %.0f degrees off the wind\n", r.Vessel.Name, deg)
			p, _, err := planner.Compute(t.Context(), r)
			var invalid *planner.InvalidError
			switch {
			case errors.As(err, &invalid):
				fmt.Fprintf(&b, "  refused: %s. Fix: %s.\n\n", invalid.Problems[0].Message, invalid.Problems[0].Fix)
				continue
			case err != nil:
				t.Fatal(err)
			}
			describe(&b, p)
			holdBridle(t, *p.Bridle, p, deg)
		}
	}
	golden(t, "testdata/bridles.txt", b.String())
}

func describe(b *strings.Builder, p planner.Plan) {
	a := p.Bridle
	fmt.Fprintf(b, "  %s, %s, stable %t, holds %.0f to %.0f degrees, legs %.1f and %.1f m at %.0f degrees\n", a.Arrangement, a.Verdict, a.Stable, a.HoldsFromDeg, a.HoldsToDeg, a.BowLegM, a.AftLegM, a.BetweenDeg)
	fmt.Fprintf(b, "  peak of the rode %.0f N (%.0f to %.0f); bow leg %.0f N, aft leg %.0f N\n", p.Loads.PeakN.Mid, p.Loads.PeakN.Low, p.Loads.PeakN.High, a.LegLoads.BowN.Mid, a.LegLoads.AftN.Mid)
	fmt.Fprintf(b, "  %s\n", a.Text)
	for _, s := range a.Shifts {
		fmt.Fprintf(b, "  wind shifts %+.0f: %.0f off the wind, %.0f off the old sea: %s\n", s.ShiftDeg, s.OffWindDeg, s.OffSeaDeg, s.Text)
	}
	b.WriteString("\n")
}

// holdBridle holds what every bridle must keep to.
func holdBridle(t *testing.T, a planner.BridleAdvice, p planner.Plan, askedDeg float64) {
	t.Helper()
	if a.Verdict == "holds" && a.Arrangement == "two_legs" && math.Abs(a.HeadingDeg-askedDeg) > 1 {
		t.Errorf("%s lies %.1f degrees off the wind, asked %.0f", p.VesselName, a.HeadingDeg, askedDeg)
	}
	sum := a.LegLoads.BowN.Mid + a.LegLoads.AftN.Mid
	if a.Arrangement == "two_legs" && (sum < p.Loads.PeakN.Mid || sum > p.Loads.PeakN.Mid/math.Cos(quantity.Degrees(60).Radians())) {
		t.Errorf("legs of %.0f N in all do not balance a rode of %.0f N", sum, p.Loads.PeakN.Mid)
	}
	if a.Arrangement == "single_rode" && a.LegLoads.BowN != p.Loads.PeakN {
		t.Errorf("a single rode bears %v, want all of %v", a.LegLoads.BowN, p.Loads.PeakN)
	}
}

func golden(t *testing.T, path, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o600); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s has changed; read it and run with -update:\n%s", path, got)
	}
}

func TestHeadingThatCannotBeHeldIsRefused(t *testing.T) {
	t.Parallel()
	r := quick(kestrel())
	r.Gear.Canopy.DiameterM = 2 // on a small canopy the water turns her
	h := quantity.Degrees(10)
	r.Wish.HeadingOffWind = &h
	_, _, err := planner.Compute(t.Context(), r)
	var invalid *planner.InvalidError
	if !errors.As(err, &invalid) || invalid.Problems[0].Pointer != "/wish/heading_off_wind_deg" || !strings.Contains(invalid.Problems[0].Fix, "nearest") {
		t.Fatalf("got %v, want the heading refused with the nearest that can be held", err)
	}
}

func TestNoSecondPointIsSaid(t *testing.T) {
	t.Parallel()
	r := quick(kestrel())
	r.Vessel.StrongPoints = r.Vessel.StrongPoints[1:]
	h := quantity.Degrees(30)
	r.Wish.HeadingOffWind = &h
	p := compute(t, r)
	if p.Bridle.Verdict != "no_second_point" || !warned(p, "no_second_point") {
		t.Errorf("verdict %s, warnings %v", p.Bridle.Verdict, p.Warnings)
	}
}

func TestSpareLineForALeg(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		mm, lengthM float64
		want        string
	}{
		{22, 40, "bears"}, {8, 40, "too weak"}, {22, 5.5, "too short"},
	} {
		r := quick(kestrel())
		h := quantity.Degrees(30)
		r.Wish.HeadingOffWind = &h
		r.Gear.Spare = &planner.Spare{Construction: rode.Plaited, DiameterMM: c.mm, LengthM: c.lengthM, Knot: rode.ThimbledSplice}
		p, _, err := planner.Compute(t.Context(), r)
		if c.want == "too short" { // no legs that short hold the heading: refused, or said
			if err == nil && (p.Bridle.Temporary == nil || !strings.Contains(p.Bridle.Temporary.Verdict, c.want)) {
				t.Errorf("a line of %.1f m: %+v", c.lengthM, p.Bridle.Temporary)
			}
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		if p.Bridle.Temporary == nil || !strings.Contains(p.Bridle.Temporary.Verdict, c.want) {
			t.Errorf("a line of %.0f mm: %+v, want it %s", c.mm, p.Bridle.Temporary, c.want)
		}
	}
}

func TestChainSetsTheDepth(t *testing.T) {
	t.Parallel()
	shallow, deep := quick(kestrel()), quick(kestrel())
	shallow.Gear.Chain = &planner.Chain{SizeMM: 8, Grade: 43, LengthM: 2}
	deep.Gear.Chain = &planner.Chain{SizeMM: 14, Grade: 43, LengthM: 40}
	a, b := compute(t, shallow), compute(t, deep)
	if a.Canopy.DepthM >= a.Canopy.NeededDepthM || !warned(a, "canopy_shallow") {
		t.Errorf("light chain: depth %.1f m of %.1f needed, warnings %v", a.Canopy.DepthM, a.Canopy.NeededDepthM, a.Warnings)
	}
	if b.Canopy.DepthM <= a.Canopy.DepthM {
		t.Errorf("heavy chain hangs the canopy %.1f m deep, light chain %.1f m", b.Canopy.DepthM, a.Canopy.DepthM)
	}
}

// A canopy too small to keep the bow up is not recommended, whatever it loads.
func TestCanopyMustKeepTheBowUp(t *testing.T) {
	t.Parallel()
	r := quick(kestrel())
	wish := quantity.MetresPerSecond(4)
	r.Wish.DriftAtMostMS = &wish
	p := compute(t, r)
	fell := 0
	for _, s := range p.Canopy.Sizes {
		if s.Verdict == "lets the bow fall off" {
			fell++
			if s.DiameterM >= p.Canopy.RecommendedDiameterM {
				t.Errorf("%.1f m lets the bow fall off, and %.1f m is recommended", s.DiameterM, p.Canopy.RecommendedDiameterM)
			}
		}
	}
	if fell == 0 {
		t.Error("no size lets the bow fall off: the rule decides nothing here")
	}
	loose := r
	policy := planner.DefaultPolicy()
	policy.YawLimitDeg = 90
	loose.Policy = &policy
	if q := compute(t, loose); q.Canopy.RecommendedDiameterM >= p.Canopy.RecommendedDiameterM {
		t.Errorf("with a limit of 90 degrees %.1f m is recommended, with 45 %.1f m", q.Canopy.RecommendedDiameterM, p.Canopy.RecommendedDiameterM)
	}
}

func TestChangeFirst(t *testing.T) {
	t.Parallel()
	r := quick(kestrel())
	r.Gear.Shackles = []planner.Shackle{{BodyMM: 10}, {BodyMM: 13, OffLine: quantity.Degrees(90)}}
	r.Gear.Swivels = []planner.Swivel{{WorkingLoadN: 9000}}
	r.Gear.Chain = &planner.Chain{SizeMM: 8, Grade: 30, LengthM: 10}
	p := compute(t, r)
	if len(p.ChangeFirst) < 3 {
		t.Fatalf("%d changes proposed for a set with five weak parts", len(p.ChangeFirst))
	}
	for i, u := range p.ChangeFirst {
		if u.UseAfter >= u.UseBefore || u.Text == "" {
			t.Errorf("%s: use of the %s goes from %.2f to %.2f", u.Change, u.Part, u.UseBefore, u.UseAfter)
		}
		if i == 0 && u.Part != governingPart(p) {
			t.Errorf("the first change is of the %s, but the %s governs", u.Part, governingPart(p))
		}
		if i > 0 && u.UseBefore > p.ChangeFirst[i-1].UseBefore {
			t.Errorf("change %d is of a weaker part than the one before it", i+1)
		}
	}
}

func governingPart(p planner.Plan) string {
	for _, h := range p.Hardware {
		if h.Governing {
			return h.Part
		}
	}
	return ""
}

func warned(p planner.Plan, code string) bool {
	for _, w := range p.Warnings {
		if w.Code == code {
			return true
		}
	}
	return false
}
