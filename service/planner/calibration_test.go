package planner_test

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"reflect"
	"testing"

	"rideout/service/planner"
)

func factor(mid float64) planner.Learnt {
	return planner.Learnt{Band: planner.Band{Low: mid * 0.95, Mid: mid, High: mid * 1.05}, Observations: 9, ShrunkToFleet: 0.2}
}

func learnt(apply bool, windage, drag float64) *planner.Calibration {
	return &planner.Calibration{
		Apply: apply, Why: "a test", Outcomes: 18, Windage: factor(windage), Drag: factor(drag), Drift: factor(math.Sqrt(windage / drag)),
		Outliers: []planner.Outlying{{ObservationID: "x", Kind: "drift", Weight: 0.01, Text: "wild"}}, Notes: []string{},
	}
}

// short is a request that is soon computed.
func short() planner.Request {
	r := kestrel()
	r.Forecast.Steps = r.Forecast.Steps[:2]
	seeds := 2
	r.Assume.Seeds = &seeds
	r.RodeTried = []float64{90, 183}
	r.Position = &planner.Position{LatitudeDeg: 61.2, LongitudeDeg: -12}
	return r
}

// plain computes without the checks of whole studies: two records are too few for them.
func plain(t *testing.T, r planner.Request) planner.Plan {
	t.Helper()
	p, _, err := planner.Compute(context.Background(), r)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// Told alone, the factors change no figure but say what they would; used, they change what was said.
func TestCalibrationIsToldOrUsed(t *testing.T) {
	t.Parallel()
	without, told, used := short(), short(), short()
	told.Calibration, used.Calibration = learnt(false, 1.3, 0.8), learnt(true, 1.3, 0.8)
	a, b, c := plain(t, without), plain(t, told), plain(t, used)
	if a.Calibration != nil || b.Calibration == nil || b.Calibration.Used || b.Calibration.Effect == nil || c.Calibration == nil || !c.Calibration.Used || c.Calibration.Effect == nil {
		t.Fatalf("stated %+v, %+v, %+v", a.Calibration, b.Calibration, c.Calibration)
	}
	if len(b.Calibration.Outliers) != 1 || b.Calibration.Outcomes != 18 || b.Calibration.Why != "a test" {
		t.Errorf("stated %+v", b.Calibration)
	}
	would, does := *b.Calibration.Effect, *c.Calibration.Effect
	b.Calibration = nil
	if !reflect.DeepEqual(a, b) {
		t.Error("a plan that only states the factors has other figures than one without")
	}
	// What would change by the quick way is what does, but for the peak, which the quick way scales by the screen.
	if does.DriftKt != would.DriftKt || does.MeanN != would.MeanN {
		t.Errorf("would change %+v, changes %+v", would, does)
	}
	if would.PeakN.Without != a.Loads.PeakN.Mid || does.PeakN.With != c.Loads.PeakN.Mid {
		t.Errorf("peaks %+v and %+v, the plans' %g and %g", would.PeakN, does.PeakN, a.Loads.PeakN.Mid, c.Loads.PeakN.Mid)
	}
	// sqrt(f/d) but for the drag of the hull, which calibration leaves out: some hundredths of the balance.
	if got, want := does.DriftKt.With/does.DriftKt.Without, math.Sqrt(1.3/0.8); math.Abs(got/want-1) > 0.04 {
		t.Errorf("drift times %.3f, want %.3f within 4 %%", got, want)
	}
	if got := does.MeanN.With / does.MeanN.Without; math.Abs(got/1.3-1) > 0.04 {
		t.Errorf("mean load times %.3f, want 1.3 within 4 %%", got)
	}
	if legs, before := c.SeaRoom.Legs, a.SeaRoom.Legs; math.Abs(legs[0].SpeedKt.Mid/before[0].SpeedKt.Mid/math.Sqrt(1.3/0.8)-1) > 0.04 {
		t.Errorf("the sea room goes by %g kt after %g", legs[0].SpeedKt.Mid, before[0].SpeedKt.Mid)
	}
}

// The factors are kept with the inputs: read back, the same request gives the same bits.
func TestCalibratedPlanIsComputedAgain(t *testing.T) {
	t.Parallel()
	r := short()
	r.Calibration = learnt(true, 0.9, 1.1)
	text, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var again planner.Request
	if err := json.Unmarshal(text, &again); err != nil {
		t.Fatal(err)
	}
	if first, second := plain(t, r), plain(t, again); !reflect.DeepEqual(first, second) {
		t.Error("the request as kept gives another plan")
	}
}

func TestCalibrationOutOfReachIsRefused(t *testing.T) {
	t.Parallel()
	for _, c := range []*planner.Calibration{learnt(true, 3, 1), learnt(true, 1, 0.3)} {
		r := short()
		r.Calibration = c
		_, _, err := planner.Compute(context.Background(), r)
		var invalid *planner.InvalidError
		if !errors.As(err, &invalid) || len(invalid.Problems) != 1 {
			t.Errorf("factors %g and %g: got %v, want one problem", c.Windage.Mid, c.Drag.Mid, err)
		}
	}
}

// What is foreseen of each hour are the plan's own figures: the drift of its sea room, and in a phase's worst hour its
// mean load. Of a plan made with factors it says with which.
func TestForeseenIsThePlans(t *testing.T) {
	t.Parallel()
	r := short()
	r.Calibration = learnt(true, 1.2, 0.9)
	p := plain(t, r)
	f := planner.ForeseenBy(p, r)
	if len(f.Hours) != 2 || f.CanopyShape != "flat_circular" || f.CanopyM != 5.5 || f.Windage != 1.2 || f.Drag != 0.9 || f.HeadingDeg != 0 || len(f.Assumed) > 0 {
		t.Fatalf("foreseen %+v", f)
	}
	for i, h := range f.Hours {
		if h.DriftKt != p.SeaRoom.Legs[i].SpeedKt.Mid || h.Hours != 6 {
			t.Errorf("hour %d: %+v, the leg is %+v", i, h, p.SeaRoom.Legs[i])
		}
		for _, phase := range p.Phases {
			// The phase's drift is printed to 0.01 kt, which of some 2 kt is half a hundredth of the load.
			if phase.WorstAt.Equal(h.From) && math.Abs(h.MeanN/phase.Loads.MeanN.Mid-1) > 0.01 {
				t.Errorf("hour %d: mean load %g N, its phase's %g", i, h.MeanN, phase.Loads.MeanN.Mid)
			}
		}
	}
	push := 3000.0
	r.Assume.WindForceN = &push
	if got := planner.ForeseenBy(p, r).Assumed; !reflect.DeepEqual(got, []string{"wind_force_n"}) {
		t.Errorf("assumed %v", got)
	}
}

// A phase's cost by the hour, times its hours, is what the plan prints.
func TestWearIsThePlans(t *testing.T) {
	t.Parallel()
	p := plain(t, short())
	wear := planner.WearOf(p)
	if len(wear) != len(p.Phases) {
		t.Fatalf("%d phases of wear, want %d", len(wear), len(p.Phases))
	}
	for i, w := range wear {
		hours := 0.0
		for _, s := range w.Spans {
			hours += s.Until.Sub(s.From).Hours()
		}
		if got, want := w.PerHour.Mid*hours, p.Phases[i].FatigueShare.Mid; math.Abs(got-want) > 1e-12 {
			t.Errorf("%s: %g, want %g", w.Name, got, want)
		}
	}
}

// What stating the factors costs is the difference of the two.
func BenchmarkCalibration(b *testing.B) {
	for name, c := range map[string]*planner.Calibration{"none": nil, "stated": learnt(false, 1.3, 0.8)} {
		b.Run(name, func(b *testing.B) {
			r := kestrel()
			r.Calibration = c
			for b.Loop() {
				if _, _, err := planner.Compute(context.Background(), r); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
