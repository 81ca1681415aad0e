package planner_test

import (
	"math"
	"os"
	"strings"
	"testing"

	"rideout/service/physics/canopy"
	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/planner"
)

func TestRolesAreFilled(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		crew  []planner.Hand
		want  [5]string // skipper, helm, foredeck, line tender, lookout
		short string
	}{
		"nobody named":   {nil, [5]string{}, ""},
		"five in order":  {[]planner.Hand{{Name: "A"}, {Name: "B"}, {Name: "C"}, {Name: "D"}, {Name: "E"}}, [5]string{"A", "B", "C", "D", "E"}, ""},
		"roles first":    {[]planner.Hand{{Name: "A"}, {Name: "B", Role: "skipper"}, {Name: "C", Role: "lookout"}, {Name: "D"}, {Name: "E"}}, [5]string{"B", "A", "D", "E", "C"}, ""},
		"six":            {[]planner.Hand{{Name: "A"}, {Name: "B"}, {Name: "C"}, {Name: "D"}, {Name: "E"}, {Name: "F"}}, [5]string{"A", "B", "C", "D", "E, F"}, ""},
		"two":            {[]planner.Hand{{Name: "A", Role: "skipper"}, {Name: "B"}}, [5]string{"A", "B", "A", "A", "A"}, "A takes foredeck, line tender, lookout beside skipper"},
		"alone":          {[]planner.Hand{{Name: "A"}}, [5]string{"A", "A", "A", "A", "A"}, "Alone"},
		"two of a role":  {[]planner.Hand{{Name: "A", Role: "foredeck"}, {Name: "B", Role: "foredeck"}, {Name: "C"}}, [5]string{"C", "C", "A, B", "A, B", "C"}, "3 named for five tasks"},
		"no one to lead": {[]planner.Hand{{Name: "A", Role: "lookout"}}, [5]string{"A", "A", "A", "A", "A"}, "beside lookout"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := lain(blow([3]float64{0, 15, 1}))
			r.Crew = c.crew
			w := soon(t, r).Crew
			for i, role := range w.Roles {
				if role.Who != c.want[i] || role.Does == "" {
					t.Errorf("%s: %q, want %q", role.Role, role.Who, c.want[i])
				}
			}
			if (w.ShortOf == "") != (c.short == "") || !strings.Contains(w.ShortOf, c.short) {
				t.Errorf("short of hands: %q, want %q in it", w.ShortOf, c.short)
			}
			if len(w.Signals) < 6 || w.CallInTime == "" {
				t.Error("signals or the call are missing")
			}
		})
	}
}

// What the rules prescribe differs with kind, length and intent. The rules stand in COLREGs 1972, from memory.
func TestShownFollowsTheRules(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		change     func(*planner.Request)
		has, lacks []string
	}{
		"power, 12.2 m": {func(*planner.Request) {}, []string{"Rule 5", "Rule 23(a)", "Rule 27(a)", "Rule 30", "Rule 35(b)", "Rule 35(c)"}, []string{"Rule 26", "Rule 27(b)", "Rule 35(j)", "Rule 25", "27(g)"}},
		"sail under 12 m": {func(r *planner.Request) {
			r.Vessel = planner.Vessel{Name: "Skua", Hull: hull.SailMonohull, LOAM: 10.1, BeamM: 3.3, DraughtM: 1.8, DisplacementKg: 5200}
		}, []string{"Rule 25(a) and (b)", "27(g)", "Rule 35(j)"}, []string{"Rule 23(a)", "Rule 35(b)"}},
		"slow drift":     {func(r *planner.Request) { r.Intent = planner.SlowDrift }, []string{"Rule 26(c)"}, []string{"Rule 27(b)"}},
		"workboat":       {func(r *planner.Request) { r.Vessel.Hull = hull.Workboat }, []string{"Rule 27(b)", "Rule 23(a)"}, []string{"Rule 26"}},
		"under 12 m":     {func(r *planner.Request) { r.Vessel.LOAM = 11.9 }, []string{"Rule 23(a) and (d)", "Rule 35(j)"}, []string{"Rule 25"}},
		"sail over 20 m": {func(r *planner.Request) { r.Vessel.Hull, r.Vessel.LOAM, r.Vessel.LWLM = hull.SailMonohull, 22, 20 }, []string{"Rule 25(a), with"}, []string{"Rule 35(j)"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := lain(blow([3]float64{0, 15, 1}))
			c.change(&r)
			text := ""
			for _, s := range soon(t, r).Crew.Shown {
				if s.What == "" || s.Rule == "" || s.Note == "" {
					t.Errorf("sign without words: %+v", s)
				}
				text += s.Rule + " " + s.Note + "\n"
			}
			for _, want := range append(c.has, "master's decision", "from memory") {
				if !strings.Contains(text, want) {
					t.Errorf("nothing says %q", want)
				}
			}
			for _, not := range c.lacks {
				if strings.Contains(text, not) {
					t.Errorf("%q does not apply", not)
				}
			}
		})
	}
}

func TestSecurite(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]func(*planner.Request){
		"all_given": func(r *planner.Request) {
			r.Vessel.CallSign, r.Vessel.MMSI = "XQAB1", "231999999"
			r.Position = &planner.Position{LatitudeDeg: -61.2, LongitudeDeg: 179.99}
			north := quantity.Degrees(0)
			r.Forecast.Steps[0].CurrentMS, r.Forecast.Steps[0].CurrentToward = some(quantity.MetresPerSecond(0.5)), &north
		},
		"nothing_given": func(r *planner.Request) { r.Forecast.Steps[0].WindFrom = nil },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := lain(blow([3]float64{0, 15, 1}))
			change(&r)
			got := soon(t, r).Crew.Securite + "\n"
			path := "../../testdata/golden/securite/" + name + ".txt"
			if *update {
				if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("got  %swant %s", got, want)
			}
		})
	}
}

func TestHaulingGrowsWithTheGear(t *testing.T) {
	t.Parallel()
	haul := func(change func(*planner.Request)) planner.Hauling {
		r := fully(lain(blow([3]float64{0, 15, 1})))
		change(&r)
		h := *soon(t, r).Crew.Hauling
		for name, b := range map[string]planner.Band{"by trip line": h.ByTripLineN, "by rode": h.ByRodeN} {
			if !(0 < b.Low && b.Low <= b.Mid && b.Mid <= b.High) {
				t.Errorf("%s: band %+v", name, b)
			}
		}
		return h
	}
	plain := haul(func(*planner.Request) {})
	before := planner.Hauling{}
	for _, d := range []float64{2.5, 4, 5.5, 9} {
		h := haul(func(r *planner.Request) { r.Gear.Canopy = &planner.Canopy{Shape: canopy.FlatCircular, DiameterM: d} })
		if h.ByTripLineN.Mid <= before.ByTripLineN.Mid || h.ByRodeN.Mid <= before.ByRodeN.Mid || h.FloatNeedsN < before.FloatNeedsN {
			t.Errorf("%g m: %+v, not above %+v", d, h, before)
		}
		if h.ByRodeN.Mid <= h.ByTripLineN.Mid {
			t.Errorf("%g m: %g N by the rode, %g N by its crown", d, h.ByRodeN.Mid, h.ByTripLineN.Mid)
		}
		before = h
	}
	if h := haul(func(r *planner.Request) { r.Gear.TripLine.LengthM = 90 }); h.MinutesByIt <= plain.MinutesByIt || h.ByTripLineN.Mid <= plain.ByTripLineN.Mid {
		t.Errorf("a longer line hauls in %g min, the short one in %g", h.MinutesByIt, plain.MinutesByIt)
	}
	if h := haul(func(r *planner.Request) { r.Gear.Chain.LengthM = 10 }); h.ByTripLineN.Mid <= plain.ByTripLineN.Mid || h.FloatNeedsN <= plain.FloatNeedsN {
		t.Error("more chain hauls no harder")
	}
	if h := haul(func(r *planner.Request) { r.Gear.Float.BuoyancyN = 20 }); !strings.Contains(h.Text, "drawn under") || h.FloatHasN != 20 {
		t.Errorf("a small float: %q", h.Text)
	}
	if h := haul(func(r *planner.Request) { r.Vessel.WindlassPullN = 4000 }); h.From != "windlass" || h.AvailableN != 4000 {
		t.Errorf("windlass: %+v", h)
	}
	if h := haul(func(r *planner.Request) { r.Crew = make([]planner.Hand, 4); r.Crew[0].Name = "A" }); h.From != "crew" || h.AvailableN != 900 {
		t.Errorf("three at the line: %+v", h)
	}
	none := haul(func(r *planner.Request) { r.Gear.TripLine, r.Gear.Float = nil, nil })
	if !strings.Contains(none.Text, "by the rode") || none.FloatHasN != 0 {
		t.Errorf("without a line to the crown: %q", none.Text)
	}
}

// The drag of the full canopy by hand: 1/2 x 1025 x 0.75 x 23.76 m2 x (0.25 m/s)^2 = 571 N, and half of 90 m of 22 mm nylon
// in water besides.
func TestHaulingByHand(t *testing.T) {
	t.Parallel()
	r := lain(blow([3]float64{0, 15, 1}))
	p := soon(t, r)
	out := *hourOf(t, p, "deploy").PayOutM
	rope := 0.292 * 9.81 * (1 - 1025.0/1140) * out / 2 // mass of 22 mm three-strand nylon a metre from the table
	if got := p.Crew.Hauling.ByRodeN.Mid; math.Abs(got-571-rope) > 5 {
		t.Errorf("%g N, by hand %g N", got, 571+rope)
	}
}

// The canopy hangs some 8 m down and its crown lies in the water: a line of 10 m does not reach the surface with slack.
func TestShortTripLineIsSaid(t *testing.T) {
	t.Parallel()
	for m, want := range map[float64]bool{30: false, 10: true} {
		r := lain(blow([3]float64{0, 15, 1}))
		r.Gear.TripLine.LengthM = m
		if got := warned(soon(t, r), "trip_line_short"); got != want {
			t.Errorf("%g m: warned %v, want %v", m, got, want)
		}
	}
}
