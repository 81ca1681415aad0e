package planner

import (
	"context"
	"testing"
	"time"

	"rideout/service/physics/canopy"
	"rideout/service/physics/hull"
	"rideout/service/physics/motion"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
	"rideout/service/physics/wind"
)

// at is a length with its loads at the middle and the high end and its slack.
func at(lengthM, mid, high, slack float64) tried { return tried{lengthM, ends{mid, high}, slack} }

func TestPayOutServesToTheHighEnd(t *testing.T) {
	const capacityN, slackLimit, leastM = 100, 0.25, 40
	for name, c := range map[string]struct {
		lengths  []tried
		carriedM float64
		want     float64
		how      fit
	}{
		"the shortest that serves to the high end":                    {[]tried{at(50, 90, 130, 0), at(80, 70, 100, 0), at(110, 60, 80, 0)}, 110, 80, fitsBand},
		"the high end may be over for want of rode":                   {[]tried{at(50, 90, 150, 0), at(80, 85, 130, 0), at(110, 60, 80, 0)}, 80, 80, fitsMiddle},
		"of those that serve at the middle the least at the high end": {[]tried{at(50, 90, 150, 0), at(80, 85, 120, 0), at(110, 88, 125, 0)}, 110, 80, fitsMiddle},
		"a rode slack too long":                                       {[]tried{at(50, 50, 70, 0.3), at(80, 40, 60, 0.25)}, 80, 80, fitsBand},
		"none serves: the longest carried":                            {[]tried{at(50, 190, 250, 0), at(80, 150, 220, 0), at(110, 130, 200, 0)}, 80, 80, fitsNowhere},
		"too short to lie to":                                         {[]tried{at(30, 50, 60, 0), at(50, 50, 60, 0)}, 50, 50, fitsBand},
		"all carried is too short to lie to":                          {[]tried{at(20, 50, 60, 0), at(30, 50, 60, 0)}, 30, 30, fitsNowhere},
		"longer than carried is not taken":                            {[]tried{at(50, 120, 160, 0), at(80, 50, 60, 0)}, 50, 50, fitsNowhere},
	} {
		i, how := payOut(c.lengths, c.carriedM, leastM, slackLimit, capacityN)
		if got := c.lengths[i].lengthM; got != c.want || how != c.how {
			t.Errorf("%s: %g m (%d), want %g m (%d)", name, got, how, c.want, c.how)
		}
	}
}

// A study that finds more than the screen raises what is not studied yet, and never lowers it.
func TestSearchLearnsFromStudies(t *testing.T) {
	lengths := func() []tried {
		return []tried{at(50, 50, 80, 0.1), at(80, 40, 70, 0.1), at(110, 30, 55, 0), at(140, 20, 45, 0)}
	}
	pick := func(of []tried) (int, fit) { return payOut(of, 140, 40, 0.25, 100) }
	s := &search{lengths(), map[int]study{}, pick}
	if i, more := s.next(); i != 0 || !more {
		t.Fatalf("first studies length %d (%v), want the first", i, more)
	}
	s.learn(0, studied(50, 60, 160, 0.2)) // twice the screen at the high end
	for i, want := range []float64{160, 140, 110, 90} {
		if got := s.lengths[i].peakN.high; got != want {
			t.Errorf("length %d: %g N at the high end, want %g", i, got, want)
		}
	}
	i, more := s.next()
	if i != 3 || !more {
		t.Fatalf("then studies length %d (%v), want the last", i, more)
	}
	s.learn(3, studied(140, 25, 50, 0)) // less than thought: what is shorter stays as it is
	if got := s.lengths[2].peakN.high; got != 110 {
		t.Errorf("a study that found less lowered another length to %g N", got)
	}
	if i, more := s.next(); i != 3 || more {
		t.Errorf("goes on with length %d (%v) though the pick is studied", i, more)
	}
	if i, how := s.best(); i != 3 || how != fitsBand {
		t.Errorf("takes length %d (%d)", i, how)
	}
	cut := &search{lengths(), map[int]study{}, pick} // ended before its pick was studied
	cut.learn(0, studied(50, 60, 160, 0.2))
	if i, how := cut.best(); i != 0 || how != fitsMiddle {
		t.Errorf("takes length %d (%d) that nobody studied", i, how)
	}
}

// studied is a study with these peaks at the middle and the high end.
func studied(lengthM, mid, high, slack float64) study {
	s := study{lengthM: lengthM}
	for _, n := range []float64{mid, mid, high} {
		l := motion.Load{SlackShare: slack}
		l.Peak.Location, l.Peak.Records, l.Peak.PerRecord = n, 1, 2
		s.loads = append(s.loads, l)
	}
	return s
}

// An autumn gale over an old sea: as the wind falls and the sea does not, the pull that keeps the rode taut falls, and it snaps.
func falling() Request {
	step := func(hour int, kt, hs, tp float64) Step {
		from := quantity.Degrees(240)
		return Step{Time: time.Date(2026, 10, 4, hour, 0, 0, 0, time.UTC), WindMS: quantity.MetresPerSecond(kt), WindFrom: &from, HsM: &hs, TpS: &tp}
	}
	return Request{
		Intent: RideOutStorm,
		Vessel: Vessel{
			Name: "Kestrel of Hamna", Hull: hull.PowerDisplacement, LOAM: 12.2, LWLM: 11.2, BeamM: 4, DraughtM: 1.3, DisplacementKg: 14000,
			Windage:      []wind.Part{{Name: "topsides", FrontalAreaM2: 16, LateralAreaM2: 39, CentreHeightM: 1.7, CentreFromBowM: 5.6, ShapeCoefficient: 1}},
			StrongPoints: []StrongPoint{{Name: "bow bitt", FromBowM: 0.3, WorkingLoadN: 40000}},
		},
		Gear: &Gear{
			Canopy: &Canopy{Shape: canopy.FlatCircular, DiameterM: 5.5},
			Rode:   &Rode{Construction: rode.ThreeStrand, DiameterMM: 22, LengthM: 183, Terminations: []rode.Termination{rode.ThimbledSplice, rode.Bowline}},
		},
		Forecast: Forecast{Steps: []Step{step(0, 35, 4.2, 9), step(6, 26, 5, 9.5)}},
	}
}

// What is paid out keeps every part within capacity, as the time domain finds it, to the high end of the band wherever a length
// carried does; and what a phase says of its length is so.
func TestEveryPhaseIsPaidOutToTheHighEnd(t *testing.T) {
	t.Parallel()
	for _, carriedM := range []float64{183, 120} {
		r := falling()
		r.Gear.Rode.LengthM = carriedM
		c := computation{request: r, policy: policyOf(r)}
		for _, do := range []func(context.Context) error{c.resolve, c.chooseGear, c.divide, c.studyWorst, c.studyOthers} {
			if err := do(context.Background()); err != nil {
				t.Fatal(err)
			}
		}
		if len(c.spells) != 2 {
			t.Fatalf("%d phases, want the strong wind and the gale", len(c.spells))
		}
		for i, s := range c.spells {
			name := classes[s.class].name
			paid := found(c.studies[i])
			if paid.lengthM != c.paid(i) || paid.fit(c.capacityN, c.policy.SlackLimit) != c.fits[i] {
				t.Errorf("%g m carried, %s: the study is of %g m and fits %d, the choice is %g m and %d", carriedM, name, paid.lengthM, paid.fit(c.capacityN, c.policy.SlackLimit), c.paid(i), c.fits[i])
			}
			whole, err := run(context.Background(), []task{{situation: s.worst, lengthM: carriedM, ends: []uncertain{allLow, allMid, allHigh}}})
			if err != nil {
				t.Fatal(err)
			}
			if all := found(whole[0]).fit(c.capacityN, c.policy.SlackLimit); all > c.fits[i] {
				t.Errorf("%g m carried, %s: %g m paid out fits %d, all of it %d", carriedM, name, c.paid(i), c.fits[i], all)
			}
			if c.fits[i] != fitsBand && c.paid(i) != carriedM {
				t.Errorf("%g m carried, %s: %g m do not serve to the high end, and rode is left", carriedM, name, c.paid(i))
			}
		}
		if old, gale := c.paid(0), c.paid(1); old < gale {
			t.Errorf("%g m carried: %g m in the old sea under the falling wind, %g m in the gale", carriedM, old, gale)
		}
	}
}
