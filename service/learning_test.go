package service_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/calibration"
	"rideout/service/fleet"
	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
	"rideout/service/planner"
	"rideout/service/servicetest"
)

// school is an organisation whose vessels are truly other than the theory has them.
type school struct {
	t         *testing.T
	org       service.OrgID
	now       time.Time
	ids       int
	plans     *service.Plans
	registers *service.Registers
	random    *rand.Rand
	vessels   []uuid.UUID
}

// truths are the true factors of each vessel, and of the canopy they all have.
var (
	trueWindage = []float64{1.25, 0.85, 1.05}
	trueDrag    = 0.85
)

func newSchool(t *testing.T) *school {
	s := &school{t: t, org: uuid.UUID{1}, now: time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC), random: rand.New(rand.NewPCG(4, 2))}
	history := &servicetest.History{}
	clock := func() time.Time { s.now = s.now.Add(time.Second); return s.now }
	newID := func() uuid.UUID { s.ids++; return uuid.UUID{byte(s.ids >> 8), byte(s.ids)} }
	s.plans = &service.Plans{History: history, Clock: clock, NewID: newID, Compute: planner.Compute, Budget: time.Minute}
	s.registers = &service.Registers{History: history, Clock: clock, NewID: newID}
	for i := range trueWindage {
		vessel := &fleet.Vessel{Status: "in_service"}
		vessel.Name, vessel.Hull, vessel.LOAM, vessel.BeamM, vessel.DraughtM, vessel.DisplacementKg = fmt.Sprintf("Pupil %d", i), "workboat", 12, 4, 1, 9000
		s.vessels = append(s.vessels, s.add(fleet.KindVessel, uuid.Nil, vessel))
		s.add(fleet.KindGear, uuid.Nil, &fleet.GearItem{Kind: "canopy", VesselID: &s.vessels[i], Canopy: &fleet.Canopy{Shape: "flat_circular", DiameterM: 5.5}})
		s.add(fleet.KindGear, uuid.Nil, &fleet.GearItem{Kind: "rode", VesselID: &s.vessels[i], Rode: &fleet.Rode{Construction: "three_strand", DiameterMM: 22, LengthM: 183}})
	}
	return s
}

func (s *school) add(kind fleet.Kind, under uuid.UUID, e fleet.Entity) uuid.UUID {
	s.t.Helper()
	e.Settle()
	if problems := e.Check(s.now); len(problems) > 0 {
		s.t.Fatalf("%s: %+v", kind, problems)
	}
	from := time.Time{}
	if e.At().IsZero() {
		from = s.now.AddDate(0, -6, 0)
	}
	answer, _, err := s.registers.Add(s.t.Context(), s.org, service.Claim{Key: fmt.Sprint("k", s.ids, kind)}, service.Draft{Kind: kind, Under: under, ValidFrom: from, By: "test", Entity: e})
	if err != nil {
		s.t.Fatal(err)
	}
	var said struct{ ID uuid.UUID }
	if err := json.Unmarshal(answer.Body, &said); err != nil {
		s.t.Fatal(err)
	}
	return said.ID
}

// weather is a day from some hours before now, a step every two hours; the current is given.
func (s *school) weather() planner.Forecast {
	f := planner.Forecast{}
	from, toward := quantity.Degrees(240), quantity.Degrees(120)
	for i := range 12 {
		hs, tp, current := 3+0.3*float64(i), 8+0.2*float64(i), quantity.MetresPerSecond(0.3)
		f.Steps = append(f.Steps, planner.Step{
			Time: s.now.Add(time.Duration(2*i-30) * time.Hour).Truncate(time.Hour), WindMS: quantity.MetresPerSecond(26 + 2*float64(i)),
			WindFrom: &from, HsM: &hs, TpS: &tp, CurrentMS: &current, CurrentToward: &toward,
		})
	}
	return f
}

func (s *school) order(i int) service.PlanOrder {
	seeds := 2
	return service.PlanOrder{VesselID: s.vessels[i], Request: planner.Request{
		Intent: planner.RideOutStorm, Forecast: s.weather(), Position: &planner.Position{LatitudeDeg: 55, LongitudeDeg: -20},
		RodeTried: []float64{120, 183}, Assume: planner.Assume{Seeds: &seeds},
	}}
}

func (s *school) plan(i int) service.PlanRecord {
	s.t.Helper()
	s.ids++
	answer, _, err := s.plans.Create(s.t.Context(), s.org, service.Claim{Key: fmt.Sprint("plan", s.ids)}, s.order(i))
	if err != nil {
		s.t.Fatal(err)
	}
	record, err := s.plans.Get(s.t.Context(), s.org, answer.PlanID)
	if err != nil {
		s.t.Fatal(err)
	}
	return record
}

// noisy is a reading of a truth with noise of 10 %.
func (s *school) noisy(truth float64) float64 { return truth * math.Exp(0.1*s.random.NormFloat64()) }

// lie records a deployment under a plan with observations in as many of its steps. What is seen is what the theory gives
// with the true factors, and noise; both are observed at the plan's own hours.
func (s *school) lie(i int, record service.PlanRecord, steps int) (deployment uuid.UUID, seen []uuid.UUID) {
	s.t.Helper()
	var r planner.Request
	if err := json.Unmarshal(record.Inputs, &r); err != nil {
		s.t.Fatal(err)
	}
	learnt := func(f float64) planner.Learnt { return planner.Learnt{Band: planner.Band{Low: f, Mid: f, High: f}} }
	r.Calibration = &planner.Calibration{Apply: true, Windage: learnt(trueWindage[i]), Drag: learnt(trueDrag)}
	truly, _, err := planner.Compute(s.t.Context(), r)
	if err != nil {
		s.t.Fatal(err)
	}
	seenBy := planner.ForeseenBy(truly, r)
	deployment = s.add(fleet.KindDeployment, record.ID, &fleet.Deployment{DeployedAt: seenBy.Hours[0].From})
	for _, h := range seenBy.Hours[:steps] {
		seen = append(seen, s.add(fleet.KindObservation, deployment, s.observed(h)))
	}
	return deployment, seen
}

// observed is a drift between two fixes 110 minutes apart, on the current, and a mean load.
func (s *school) observed(h planner.ForeseenHour) *fleet.Observation {
	s.t.Helper()
	begin, err := geo.At(55, -20)
	if err != nil {
		s.t.Fatal(err)
	}
	const took = 110 * time.Minute
	drift := s.noisy(h.DriftKt)
	east := drift*math.Sin(60*math.Pi/180) + h.CurrentKt*math.Sin(h.CurrentDeg*math.Pi/180)
	north := drift*math.Cos(60*math.Pi/180) + h.CurrentKt*math.Cos(h.CurrentDeg*math.Pi/180)
	end, _, err := geo.Direct(begin, quantity.Angle(math.Atan2(east, north)), quantity.MetresPerSecond(math.Hypot(east, north))*took.Seconds())
	if err != nil {
		s.t.Fatal(err)
	}
	load, over := math.Round(s.noisy(h.MeanN)), 20.0
	return &fleet.Observation{
		ObservedAt: h.From.Add(took), LoadN: &load, LoadOverMin: &over,
		FromFix: &fleet.Fix{Time: h.From, LatitudeDeg: 55, LongitudeDeg: -20},
		ToFix:   &fleet.Fix{Time: h.From.Add(took), LatitudeDeg: end.LatitudeDeg(), LongitudeDeg: end.LongitudeDeg()},
	}
}

func (s *school) learning(at service.AsOf) service.Learning {
	s.t.Helper()
	l, _, err := s.registers.Calibration(s.t.Context(), s.org, uuid.Nil, at)
	if err != nil {
		s.t.Fatal(err)
	}
	return l
}

func (s *school) putPolicy(change func(*fleet.Policy)) {
	s.t.Helper()
	policy := fleet.DefaultPolicy()
	change(&policy)
	_, _, err := s.registers.Put(s.t.Context(), s.org, service.Draft{Kind: fleet.KindPolicy, ValidFrom: s.now.AddDate(0, -6, 0), By: "test", Entity: &policy}, s.org, service.Match{Any: true})
	if err != nil {
		s.t.Fatal(err)
	}
}

func stated(t *testing.T, r service.PlanRecord) (plan planner.Plan, req planner.Request) {
	t.Helper()
	if err := json.Unmarshal(r.Answer, &plan); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(r.Inputs, &req); err != nil {
		t.Fatal(err)
	}
	if plan.Calibration == nil {
		t.Fatal("the plan states no calibration")
	}
	return plan, req
}

// The whole path: vessels registered, plans kept, outcomes recorded with known truth and noise of 10 %; what is learnt lies
// near the truth, plans use it when the policy says so, and a plan that used it teaches the same.
func TestFleetLearnsItsTruth(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	first := s.plan(0)
	if plan, _ := stated(t, first); plan.Calibration.Used || plan.Calibration.Outcomes != 0 || plan.Calibration.Effect != nil || !strings.Contains(plan.Calibration.Why, "no outcome") {
		t.Errorf("before any outcome: %+v", plan.Calibration)
	}
	for range 2 { // of 10 steps with a drift and a load each: 20 outcomes a vessel
		for i := range s.vessels {
			s.lie(i, s.plan(i), 10)
		}
	}
	before := s.now
	l := s.learning(service.AsOf{})
	if l.Outcomes != 120 || len(l.LeftOut) > 0 || len(l.Vessels) != 3 || len(l.Canopies) != 1 || len(l.Observations) != 120 {
		t.Fatalf("%d outcomes, %d vessels, %d canopies, %d pairs, left out %+v", l.Outcomes, len(l.Vessels), len(l.Canopies), len(l.Observations), l.LeftOut)
	}
	// What package calibration says it reaches, three times over (2.0 % for windage, 2.6 % for drag of three vessels'
	// canopy), and 2 % that the estimate leaves out of the physics: the drag of the hull.
	for i, want := range trueWindage {
		got := l.Vessels[i]
		if got.VesselID != s.vessels[i].String() || math.Abs(math.Log(got.Windage.Mid/want)) > 3*0.020+0.02 {
			t.Errorf("windage of vessel %d: %+v, want %g", i, got, want)
		}
	}
	if got := l.Canopies[0].Drag; math.Abs(math.Log(got.Mid/trueDrag)) > 3*0.026+0.02 {
		t.Errorf("drag: %+v, want %g", got, trueDrag)
	}

	// The policy is off: told, not used. On: used.
	told, _ := stated(t, s.plan(0))
	if c := told.Calibration; c.Used || c.Effect == nil || !strings.Contains(c.Why, "use_calibration") || c.Windage.Mid != l.Vessels[0].Windage.Mid {
		t.Errorf("policy off: %+v", c)
	}
	s.putPolicy(func(p *fleet.Policy) { p.UseCalibration = true })
	record := s.plan(0)
	used, req := stated(t, record)
	if c := used.Calibration; !c.Used || c.Drag.Mid != l.Canopies[0].Drag.Mid || c.Effect.PeakN.With != used.Loads.PeakN.Mid {
		t.Errorf("policy on: %+v", c)
	}
	if ratio := used.Loads.MeanN.Mid / told.Loads.MeanN.Mid; math.Abs(ratio/l.Vessels[0].Windage.Mid-1) > 0.05 {
		t.Errorf("the mean load is %.3f times what it was, the factor %.3f", ratio, l.Vessels[0].Windage.Mid)
	}

	// Its outcomes are held against what it would have said without the factors, so they teach the same.
	s.lie(0, record, 10)
	after := s.learning(service.AsOf{})
	if moved := math.Log(after.Vessels[0].Windage.Mid / l.Vessels[0].Windage.Mid); after.Outcomes != 140 || math.Abs(moved) > 0.06 {
		t.Errorf("%d outcomes, windage moved by %.3f; want 140 and little", after.Outcomes, moved)
	}

	// As known then, the same; and the plan made then is computed again from what is kept with it.
	if again := s.learning(service.AsOf{ValidAt: before, KnownAt: before}); again.Outcomes != 120 || !reflect.DeepEqual(again.Vessels, l.Vessels) {
		t.Error("asked again as known before, another lesson came")
	}
	anew, _, err := planner.Compute(context.Background(), req)
	if err != nil {
		t.Fatal(err)
	}
	if anew.Loads != used.Loads || !reflect.DeepEqual(anew.Calibration, used.Calibration) {
		t.Error("computed again from its inputs, the plan is another")
	}
}

// A wild observation is named with its id, and corrected it is one no longer: from when that was recorded on, not before.
func TestOutlierIsNamedUntilCorrected(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	_, seen := s.lie(0, s.plan(0), 8)
	patch := func(text string) {
		t.Helper()
		var merge any
		if err := json.Unmarshal([]byte(text), &merge); err != nil {
			t.Fatal(err)
		}
		_, err := s.registers.Change(t.Context(), s.org, service.Patch{
			Kind: fleet.KindObservation, ID: seen[3], By: "test", Match: service.Match{Any: true}, Merge: merge,
			Decode: func(whole []byte, now time.Time) (fleet.Entity, error) {
				o := &fleet.Observation{}
				err := json.Unmarshal(whole, o)
				o.Settle()
				return o, err
			},
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	sound := s.learning(service.AsOf{})
	load := 0.0
	for _, p := range sound.Observations {
		if p.ObservationID == seen[3] && p.Kind == calibration.Load {
			load = p.Observed
		}
	}
	patch(fmt.Sprintf(`{"load_n": %g}`, 4.448*load)) // newtons taken for pounds-force
	wild, known := s.learning(service.AsOf{}), s.now
	if len(sound.Outliers) > 0 || len(wild.Outliers) != 1 || wild.Outliers[0].ObservationID != seen[3].String() || wild.Outliers[0].Kind != "load" {
		t.Fatalf("outliers %+v, then %+v; want none, then the load of %s", sound.Outliers, wild.Outliers, seen[3])
	}
	if plan, _ := stated(t, s.plan(0)); len(plan.Calibration.Outliers) != 1 || plan.Calibration.Outliers[0].ObservationID != seen[3].String() {
		t.Errorf("the plan names %+v", plan.Calibration.Outliers)
	}
	patch(fmt.Sprintf(`{"load_n": %g}`, load))
	if now := s.learning(service.AsOf{}); len(now.Outliers) > 0 || !reflect.DeepEqual(now.Vessels, sound.Vessels) {
		t.Errorf("corrected: outliers %+v, vessels %+v, want %+v", now.Outliers, now.Vessels, sound.Vessels)
	}
	if then := s.learning(service.AsOf{ValidAt: known, KnownAt: known}); len(then.Outliers) != 1 {
		t.Errorf("as known before the correction: outliers %+v, want one", then.Outliers)
	}
}

// What is no test of its plan is left out, each with its reason.
func TestWhatIsNoTestIsLeftOut(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	record := s.plan(0)
	_, foreseen, err := service.Foresees(record)
	if err != nil {
		t.Fatal(err)
	}
	h := foreseen.Hours[4]
	small := &fleet.Canopy{Shape: "flat_circular", DiameterM: 4}
	for _, c := range []struct {
		why     string
		deploy  func(*fleet.Deployment)
		observe func(*fleet.Observation)
		both    bool // drift and load
	}{
		{"another canopy", func(d *fleet.Deployment) { d.Canopy = small }, nil, true},
		{"45 degrees off", func(d *fleet.Deployment) { d.HeadingOffWindDeg = ptr(45.0) }, nil, true},
		{"60 degrees off", nil, func(o *fleet.Observation) { o.HeadingOffWindDeg = ptr(60.0) }, true},
		{"the wind was 55", nil, func(o *fleet.Observation) { o.WindSpeedKt = ptr(55.0) }, true},
		{"the sea was 9.0", nil, func(o *fleet.Observation) { o.WaveHeightM = ptr(9.0) }, true},
		{"less than 30m", nil, func(o *fleet.Observation) { o.ToFix.Time = o.FromFix.Time.Add(20 * time.Minute) }, false},
		{"no mean of 10 minutes", nil, func(o *fleet.Observation) { o.LoadOverMin = nil }, false},
		{"outside the plan's forecast", nil, func(o *fleet.Observation) { o.ObservedAt = s.now.Add(-time.Minute) }, false},
		{"hardly a drift", nil, func(o *fleet.Observation) {
			*o.ToFix = fleet.Fix{Time: o.ToFix.Time, LatitudeDeg: 54.9954, LongitudeDeg: -19.9861} // with the current alone
		}, false},
	} {
		d := &fleet.Deployment{DeployedAt: foreseen.Hours[0].From}
		if c.deploy != nil {
			c.deploy(d)
		}
		deployment := s.add(fleet.KindDeployment, record.ID, d)
		o := s.observed(h)
		if c.observe != nil {
			c.observe(o)
		}
		id := s.add(fleet.KindObservation, deployment, o)
		got := 0
		for _, left := range s.learning(service.AsOf{}).LeftOut {
			if left.ObservationID != id {
				continue
			}
			if got++; !strings.Contains(left.Why, c.why) {
				t.Errorf("%s: left out because %q", c.why, left.Why)
			}
		}
		if want := map[bool]int{true: 2, false: 1}[c.both]; got != want {
			t.Errorf("%s: %d left out, want %d", c.why, got, want)
		}
	}
}

func ptr[T any](v T) *T { return &v }
