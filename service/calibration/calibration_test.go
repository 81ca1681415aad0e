package calibration_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"rideout/service/calibration"
	"rideout/service/physics/canopy"
	"rideout/service/physics/quantity"
	"rideout/service/physics/wind"
)

// some is a small fleet for the properties.
func some() []calibration.Observation {
	rng := rand.New(rand.NewPCG(12, 34))
	tr := drawTruth(rng, calibration.DefaultPrior(), 4, 3)
	return tr.outcomes(rng, 4, 0.1, normal(rng, 0.1))
}

func TestOrderDoesNotMatter(t *testing.T) {
	t.Parallel()
	prior := calibration.DefaultPrior()
	observations := some()
	want := estimate(t, observations, prior)
	rng := rand.New(rand.NewPCG(1, 2))
	for range 3 {
		rng.Shuffle(len(observations), func(i, j int) { observations[i], observations[j] = observations[j], observations[i] })
		given := slices.Clone(observations)
		if got := estimate(t, observations, prior); !reflect.DeepEqual(got, want) {
			t.Fatal("another order of the observations gave another result")
		}
		if !reflect.DeepEqual(given, observations) {
			t.Fatal("the caller's list was changed")
		}
	}
	if !slices.IsSortedFunc(want.Vessels, func(a, b calibration.Vessel) int { return strings.Compare(a.Name, b.Name) }) {
		t.Error("vessels are not sorted by name")
	}
}

// Only ratios count: twice the plan and twice the observation are the same to the last bit.
func TestOnlyRatiosCount(t *testing.T) {
	t.Parallel()
	prior := calibration.DefaultPrior()
	observations := some()
	want := estimate(t, observations, prior)
	for i := range observations {
		observations[i].Predicted *= 2
		observations[i].Observed *= 2
	}
	if got := estimate(t, observations, prior); !reflect.DeepEqual(got, want) {
		t.Error("twice the plan and twice the observation gave another result")
	}
}

// Under a prior that says next to nothing, loads c times as large and drifts sqrt(c) times as large are
// windage c times as large and the same drag; drifts alone a times as large are drag 1/a^2 as large.
// The prior still pulls by a thousandth or two.
func TestScaling(t *testing.T) {
	t.Parallel()
	wide := calibration.Prior{WindageFleetSD: 3, WindageBetweenSD: 1, DragFleetSD: 3, DragBetweenSD: 1, StatedWeight: 4, WildShare: 0.05}
	observations := some()
	before := estimate(t, observations, wide)
	for _, c := range []struct{ load, drift, windage, drag float64 }{{1.5, math.Sqrt(1.5), 1.5, 1}, {1, 1.25, 1, 1 / 1.5625}} {
		scaled := slices.Clone(observations)
		for i := range scaled {
			if scaled[i].Kind == calibration.Load {
				scaled[i].Observed *= c.load
			} else {
				scaled[i].Observed *= c.drift
			}
		}
		after := estimate(t, scaled, wide)
		for i := range before.Vessels {
			near(t, "windage", after.Vessels[i].Windage.Mid, c.windage*before.Vessels[i].Windage.Mid, 0.005)
		}
		for i := range before.Canopies {
			near(t, "drag", after.Canopies[i].Drag.Mid, c.drag*before.Canopies[i].Drag.Mid, 0.005)
		}
	}
}

// near holds to a relative tolerance.
func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got/want-1) <= tol) {
		t.Errorf("%s %.5g, want %.5g within %g", what, got, want, tol)
	}
}

// Without outcomes the prior comes back. The ends of its intervals are those of the normal law and of
// its sum with the half-normal spread between members; Monte Carlo leaves 0.05 of the deviation, four
// times which is held. The default prior's interval for a vessel not seen is the band it was made from.
func TestNothingObserved(t *testing.T) {
	t.Parallel()
	prior := calibration.DefaultPrior()
	r := estimate(t, nil, prior)
	if r.N != 0 || len(r.Vessels)+len(r.Canopies)+len(r.Pairs)+len(r.Outliers) > 0 || len(r.Notes) != 1 || !strings.Contains(r.Notes[0], "no outcome") {
		t.Errorf("nothing observed: %+v", r)
	}
	for what, c := range map[string]struct {
		got       calibration.Factor
		low, high float64
	}{
		"the fleet's windage":  {r.Fleet.Windage, math.Exp(-1.6449 * prior.WindageFleetSD), math.Exp(1.6449 * prior.WindageFleetSD)},
		"the fleet's drag":     {r.Fleet.Drag, math.Exp(-1.6449 * prior.DragFleetSD), math.Exp(1.6449 * prior.DragFleetSD)},
		"windage of the next":  {r.Unseen.Windage, 0.7 / math.Sqrt(0.7*1.4), 1.4 / math.Sqrt(0.7*1.4)},
		"drag of the next one": {r.Unseen.Drag, math.Sqrt(0.60 / 0.85), math.Sqrt(0.85 / 0.60)},
	} {
		tol := 0.2 * c.got.LogSD
		if math.Abs(math.Log(c.got.Low/c.low)) > tol || math.Abs(math.Log(c.got.High/c.high)) > tol || math.Abs(math.Log(c.got.Mid)) > 1e-3 {
			t.Errorf("%s: %+v, want %.3f to %.3f about 1", what, c.got, c.low, c.high)
		}
		if c.got.ShrunkToFleet < 0.9 || c.got.Observations != 0 {
			t.Errorf("%s: %+v, want nothing learned", what, c.got)
		}
	}
}

func TestOneVessel(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(1, 1))
	tr := truth{lnF: []float64{0.1}, lnD: []float64{-0.1}}
	r := estimate(t, tr.outcomes(rng, 2, 0.1, normal(rng, 0.1)), calibration.DefaultPrior())
	if len(r.Vessels) != 1 || len(r.Canopies) != 1 || len(r.Pairs) != 1 || r.N != 4 {
		t.Fatalf("%+v", r)
	}
	v, c, p := r.Vessels[0].Windage, r.Canopies[0].Drag, r.Pairs[0].Drift
	if v.Observations != 4 || c.Observations != 2 || p.Observations != 2 {
		t.Errorf("observations %d, %d, %d; want 4 of the vessel and 2 drifts", v.Observations, c.Observations, p.Observations)
	}
	if !(v.LogSD < r.Unseen.Windage.LogSD && c.LogSD < r.Unseen.Drag.LogSD && c.ShrunkToFleet > v.ShrunkToFleet) {
		t.Errorf("windage %+v, drag %+v of one vessel beside %+v", v, c, r.Unseen)
	}
	if !strings.Contains(r.Canopies[0].Note, "leans on the fleet") {
		t.Errorf("note of a canopy with two drifts: %q", r.Canopies[0].Note)
	}
}

// Drifts alone leave f and d as open as before along their ratio, and give the ratio.
func TestDriftsAlone(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(2, 1))
	prior := calibration.DefaultPrior()
	tr := truth{lnF: []float64{0.3}, lnD: []float64{-0.1}}
	drifts := slices.DeleteFunc(tr.outcomes(rng, 40, 0.1, normal(rng, 0.1)), func(o calibration.Observation) bool { return o.Kind == calibration.Load })
	r := estimate(t, drifts, prior)
	v, c, p := r.Vessels[0].Windage, r.Canopies[0].Drag, r.Pairs[0].Drift
	if !(p.LogSD < 0.02 && v.LogSD > 4*p.LogSD && c.LogSD > 4*p.LogSD) {
		t.Errorf("deviations of f %.3f, d %.3f and sqrt(f/d) %.3f by drifts alone", v.LogSD, c.LogSD, p.LogSD)
	}
	near(t, "sqrt(f/d)", p.Mid, math.Exp(0.2), 3*0.1/math.Sqrt(40))
	if len(r.Notes) != 1 || !strings.Contains(r.Notes[0], "no load") || !strings.Contains(r.Vessels[0].Note, "drift") {
		t.Errorf("notes %q and %q", r.Notes, r.Vessels[0].Note)
	}
}

// Loads alone say nothing of canopies.
func TestLoadsAlone(t *testing.T) {
	t.Parallel()
	loads := slices.DeleteFunc(some(), func(o calibration.Observation) bool { return o.Kind == calibration.Drift })
	r := estimate(t, loads, calibration.DefaultPrior())
	for _, c := range r.Canopies {
		if c.Drag.Observations != 0 || c.Drag.ShrunkToFleet < 0.9 || math.Abs(c.Drag.Mid-1) > 0.002 || c.Note == "" {
			t.Errorf("%+v, want the prior", c)
		}
	}
	if len(r.Notes) != 1 || !strings.Contains(r.Notes[0], "no drift") {
		t.Errorf("notes %q", r.Notes)
	}
}

// More outcomes and better ones narrow the interval; a vessel with few leans on her fleet.
func TestMoreIsKnownByMore(t *testing.T) {
	t.Parallel()
	prior := calibration.DefaultPrior()
	spread := func(outcomes int, share float64) float64 {
		rng := rand.New(rand.NewPCG(6, 6))
		tr := truth{lnF: []float64{0.1}, lnD: []float64{-0.1}}
		return estimate(t, tr.outcomes(rng, outcomes, share, normal(rng, share)), prior).Vessels[0].Windage.LogSD
	}
	few, many, rough := spread(5, 0.1), spread(45, 0.1), spread(5, 0.3)
	if !(many < 0.5*few && few < 0.7*rough) {
		t.Errorf("deviation %.4f by 5 outcomes, %.4f by 45, %.4f by 5 of a third of the accuracy", few, many, rough)
	}
}

// Fleets that share nothing but their means are told apart, whatever the numbers of their members.
func TestFleetsApart(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(4, 4))
	tr := truth{lnF: []float64{0.2, 0.1, -0.1, -0.2}, lnD: []float64{-0.2, 0.1, -0.1, 0.1, 0}}
	var observations []calibration.Observation
	for _, p := range []struct {
		id             string
		vessel, canopy int
	}{{"a", 0, 0}, {"b", 1, 1}, {"c", 2, 2}, {"d", 3, 3}, {"e", 0, 4}} {
		for i := range 30 {
			observations = append(observations, tr.outcome(rng, p.id+string(rune('A'+i)), p.vessel, p.canopy, 0.1, normal(rng, 0.1))...)
		}
	}
	r := estimate(t, observations, calibration.DefaultPrior())
	for i, v := range r.Vessels {
		near(t, v.Name, v.Windage.Mid, math.Exp(tr.lnF[i]), 4*v.Windage.LogSD)
	}
	for i, c := range r.Canopies {
		near(t, c.Name, c.Drag.Mid, math.Exp(tr.lnD[i]), 4*c.Drag.LogSD)
	}
	if len(r.Pairs) != 5 {
		t.Errorf("%d pairs, want 5", len(r.Pairs))
	}
}

// Observations without any noise, as accurate as can be stated, give numbers.
func TestWithoutNoise(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(5, 5))
	tr := truth{lnF: []float64{0.2}, lnD: []float64{0}}
	prior := calibration.Prior{WindageFleetSD: 3, WindageBetweenSD: 3, DragFleetSD: 3, DragBetweenSD: 3, StatedWeight: 1, WildShare: 0.5}
	r := estimate(t, tr.outcomes(rng, 500, 0.005, func() float64 { return 0 }), prior)
	near(t, "windage", r.Vessels[0].Windage.Mid, math.Exp(0.2), 1e-3)
	near(t, "drag", r.Canopies[0].Drag.Mid, 1, 1e-3)
	if f := r.Pairs[0].Drift; !(f.Low <= f.Mid && f.Mid <= f.High && f.LogSD > 0) {
		t.Errorf("%+v", f)
	}
}

// A share of wild observations next to none, and readings far off, give numbers.
func TestHardlyAnyWild(t *testing.T) {
	t.Parallel()
	prior := calibration.DefaultPrior()
	prior.WildShare = 1e-7
	observations := some()
	for i := range observations {
		observations[i].Share = 0.005
	}
	observations[1].Observed = 1e7
	r := estimate(t, observations, prior)
	if len(r.Outliers) == 0 || !(r.Outliers[0].Weight >= 0 && r.Outliers[0].Weight < 0.5) {
		t.Errorf("outliers %+v, want the load of 10 MN", r.Outliers)
	}
	if f := r.Vessels[0].Windage; !(f.Low <= f.Mid && f.Mid <= f.High && f.LogSD > 0) {
		t.Errorf("%+v", f)
	}
}

// An accuracy that is not stated is UnstatedShare.
func TestUnstatedAccuracy(t *testing.T) {
	t.Parallel()
	stated, unstated := some(), some()
	for i := range stated {
		stated[i].Share, unstated[i].Share = calibration.UnstatedShare, 0
	}
	prior := calibration.DefaultPrior()
	if !reflect.DeepEqual(estimate(t, stated, prior), estimate(t, unstated, prior)) {
		t.Error("an accuracy not stated is not taken as UnstatedShare")
	}
}

func TestRefusesObservations(t *testing.T) {
	t.Parallel()
	prior := calibration.DefaultPrior()
	good := calibration.Observation{ID: "1", Vessel: "Eider", Canopy: "flat 5.5 m", Kind: calibration.Drift, Predicted: 0.5, Observed: 0.6, Share: 0.1}
	for _, c := range []struct {
		wrong func(*calibration.Observation)
		names string // the RangeError's, or words of another error
	}{
		{func(o *calibration.Observation) { o.Observed = 0 }, "observed drift"},
		{func(o *calibration.Observation) { o.Observed = -0.5 }, "observed drift"},
		{func(o *calibration.Observation) { o.Predicted = math.NaN() }, "predicted drift"},
		{func(o *calibration.Observation) { o.Predicted = math.Inf(1) }, "predicted drift"},
		{func(o *calibration.Observation) { o.Kind = calibration.Load }, "predicted load"},
		{func(o *calibration.Observation) { o.Share = 1.5 }, "stated accuracy"},
		{func(o *calibration.Observation) { o.Share = -0.1 }, "stated accuracy"},
		{func(o *calibration.Observation) { o.Kind = "peak" }, `kind "peak"`},
		{func(o *calibration.Observation) { o.ID = "" }, "no id"},
		{func(o *calibration.Observation) { o.Vessel = "" }, "no vessel"},
		{func(o *calibration.Observation) { o.Canopy = "" }, "no canopy"},
		{func(o *calibration.Observation) { o.ID = "0" }, "must not count twice"},
	} {
		first, second := good, good
		first.ID = "0"
		c.wrong(&second)
		_, err := calibration.Estimate([]calibration.Observation{first, second}, prior)
		var of *calibration.ObservationError
		if !errors.As(err, &of) || of.Index != 1 || of.ID != second.ID || !strings.Contains(err.Error(), c.names) {
			t.Errorf("%+v: %v, want observation 1 refused for %q", second, err, c.names)
		}
	}
	bad := good
	bad.Observed = 0
	worse := bad
	worse.ID, worse.Predicted = "2", 0
	_, err := calibration.Estimate([]calibration.Observation{bad, worse}, prior)
	var out *quantity.RangeError
	if !errors.As(err, &out) || strings.Count(err.Error(), "outside") != 3 {
		t.Errorf("three wrong numbers: %v", err)
	}
	if _, err := calibration.Estimate(make([]calibration.Observation, calibration.MaxObservations+1), prior); !errors.As(err, &out) {
		t.Errorf("too many observations: %v", err)
	}
}

func TestRefusesPriors(t *testing.T) {
	t.Parallel()
	var out *quantity.RangeError
	if _, err := calibration.Estimate(nil, calibration.Prior{}); !errors.As(err, &out) {
		t.Errorf("the zero prior: %v", err)
	}
	good := quantity.Band{Low: 0.7, Mid: 1, High: 1.4}
	for _, bad := range []quantity.Band{{}, quantity.Exactly(1), {Low: -1, Mid: 1, High: 2}, {Low: 1, Mid: 2, High: math.NaN()}, {Low: 1, Mid: 10, High: 1000}} {
		if _, err := calibration.PriorOf(bad, good); !errors.As(err, &out) || !strings.Contains(out.Name, "windage") {
			t.Errorf("windage %+v: %v", bad, err)
		}
		if _, err := calibration.PriorOf(good, bad); !errors.As(err, &out) || !strings.Contains(out.Name, "drag") {
			t.Errorf("drag %+v: %v", bad, err)
		}
	}
	narrow, err := calibration.PriorOf(quantity.Band{Low: 900, Mid: 1000, High: 1100}, good)
	if wide := calibration.DefaultPrior(); err != nil || !(narrow.WindageFleetSD < wide.WindageFleetSD) {
		t.Errorf("a windage given within 10 %%: %+v, %v", narrow, err)
	}
}

// The prior is of the same bands that a plan takes for windage estimated and for a flat circular canopy.
func TestDefaultPriorIsOfThePlansBands(t *testing.T) {
	t.Parallel()
	flat, err := canopy.FlatCircular.Coefficients()
	if err != nil {
		t.Fatal(err)
	}
	want, err := calibration.PriorOf(wind.EstimateSpread().Band, flat.Cd0)
	if got := calibration.DefaultPrior(); err != nil || got != want {
		t.Errorf("%+v, want %+v (%v)", got, want, err)
	}
}
