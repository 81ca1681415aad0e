package planner_test

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
	"rideout/service/planner"
)

// barely is a vessel of a kind with canopy and rode and nothing else.
func barely(kind hull.Kind, intent planner.Intent) planner.Request {
	r := lain(blow([3]float64{0, 15, 1}, [3]float64{12, 36, 4}))
	r.Intent, r.Vessel.Hull = intent, kind
	r.Gear.Shackles, r.Gear.TripLine, r.Gear.Float = nil, nil, nil
	return r
}

func fully(r planner.Request) planner.Request {
	g := *r.Gear
	g.Shackles, g.Swivels = []planner.Shackle{{BodyMM: 16}}, []planner.Swivel{{WorkingLoadN: 30000}}
	g.Chain = &planner.Chain{SizeMM: 10, Grade: 43, LengthM: 5}
	g.TripLine, g.Float, g.Chafe = &planner.TripLine{LengthM: 30, DiameterMM: 10}, &planner.Float{BuoyancyN: 300}, true
	g.Spare = &planner.Spare{Construction: rode.ThreeStrand, DiameterMM: 20, LengthM: 30, Knot: rode.Bowline}
	r.Gear = &g
	return r
}

// namesOf are the words each part of the gear is called by in the steps.
var namesOf = map[string]func(planner.Gear) bool{
	"trip line":  func(g planner.Gear) bool { return g.TripLine != nil },
	"float":      func(g planner.Gear) bool { return g.Float != nil },
	"chafe gear": func(g planner.Gear) bool { return g.Chafe },
	"swivel":     func(g planner.Gear) bool { return len(g.Swivels) > 0 },
	"chain":      func(g planner.Gear) bool { return g.Chain != nil },
	"shackle":    func(g planner.Gear) bool { return len(g.Shackles) > 0 },
	"spare line": func(g planner.Gear) bool { return g.Spare != nil },
	"the bridle": func(g planner.Gear) bool { return g.Bridle != nil },
}

func TestStepsForEachHullAndGear(t *testing.T) {
	t.Parallel()
	intents := []planner.Intent{planner.RideOutStorm, planner.Drill, planner.RepairOrRest, planner.SlowDrift}
	says := map[hull.Kind]string{
		hull.PowerDisplacement: "Check the bilge", hull.PowerPlaning: "drives or outboards", hull.SailMonohull: "Lash the mainsail hard",
		hull.SailMultihull: "both rudders", hull.Workboat: "freeing ports",
	}
	for i, kind := range hull.Kinds() {
		for name, r := range map[string]planner.Request{"bare": barely(kind, intents[i%4]), "full": fully(barely(kind, intents[(i+1)%4]))} {
			t.Run(string(kind)+" "+name, func(t *testing.T) {
				t.Parallel()
				p := soon(t, r)
				wellFormed(t, p)
				onlyCarried(t, p, *r.Gear)
				if !strings.Contains(textOf(p.Steps), says[kind]) {
					t.Errorf("no step says %q", says[kind])
				}
			})
		}
	}
}

func textOf(steps []planner.Instruction) string {
	var b strings.Builder
	for _, s := range steps {
		b.WriteString(s.Do + " " + s.Why + " " + s.Hazard + "\n")
	}
	return b.String()
}

// wellFormed holds what the steps of every plan must have.
func wellFormed(t *testing.T, p planner.Plan) {
	t.Helper()
	stages := []string{"prepare", "deploy", "lie", "retrieve", "trouble"}
	at, number := 0, 0
	for _, s := range p.Steps {
		if at < len(stages)-1 && s.Stage != stages[at] {
			at, number = at+1, 0
		}
		number++
		if s.Stage != stages[at] || s.Number != number {
			t.Errorf("step %d of %s stands where %d of %s is due", s.Number, s.Stage, number, stages[at])
		}
		if s.Do == "" || s.Why == "" || s.Hazard == "" || !slices.Contains([]string{"skipper", "helm", "foredeck", "line_tender", "lookout"}, s.Who) {
			t.Errorf("step without words or role: %+v", s)
		}
		if strings.Contains(s.Do+s.Why+s.Hazard, "%!") {
			t.Errorf("format left over: %+v", s)
		}
	}
	if at != len(stages)-1 {
		t.Errorf("stages end with %s", stages[at])
	}
	if !strings.Contains(p.Steps[0].Why+p.Steps[1].Why, "common practice of the trade, no source") {
		t.Error("where the order of work comes from is not said")
	}
}

func onlyCarried(t *testing.T, p planner.Plan, g planner.Gear) {
	t.Helper()
	text := strings.ToLower(textOf(p.Steps))
	for name, carried := range namesOf {
		if has := strings.Contains(text, name); has && !carried(g) {
			t.Errorf("the steps name %q, which is not carried", name)
		} else if !has && carried(g) && name != "spare line" {
			t.Errorf("the steps leave out %q, which is carried", name)
		}
	}
}

// The plan's own figures stand in the steps.
func TestStepsSayTheFigures(t *testing.T) {
	t.Parallel()
	r := fully(barely(hull.PowerDisplacement, planner.RideOutStorm))
	a := quantity.Degrees(30)
	r.Wish.HeadingOffWind = &a
	p := soon(t, r)
	text := textOf(p.Steps)
	for _, want := range []string{
		"port midship cleat", "bow bitt", "30 degrees off", "wind on the port side", "over the port side", "Pay out 12 m", "183 m of 22 mm",
		"the spare line (20 mm), bent on with a bowline", "wind below 20 kt and sea below 2.5 m", "engine off",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("no step says %q", want)
		}
	}
}

func TestStepsOfASquareBridle(t *testing.T) {
	t.Parallel()
	r := barely(hull.SailMultihull, planner.RideOutStorm)
	r.Vessel.BeamM = 6.5
	r.Vessel.StrongPoints = []planner.StrongPoint{{Name: "port bow", FromBowM: 0.5, OffCentreM: -3, WorkingLoadN: 30000}, {Name: "starboard bow", FromBowM: 0.5, OffCentreM: 3, WorkingLoadN: 30000}}
	r.Gear.Bridle = &planner.Bridle{Construction: rode.DoubleBraid, DiameterMM: 24, LegM: 20}
	p := soon(t, r)
	if text := textOf(p.Steps); !strings.Contains(text, "a leg from each bow") || !strings.Contains(text, "the bridle (24 mm)") {
		t.Errorf("the legs from both bows are not rigged: %s", text)
	}
	onlyCarried(t, p, *r.Gear)
}

// Nothing carried: the steps name what is recommended and say that it is not aboard.
func TestStepsWithNothingCarried(t *testing.T) {
	t.Parallel()
	r := barely(hull.Workboat, planner.RideOutStorm)
	r.Gear = nil
	p := soon(t, r)
	wellFormed(t, p)
	onlyCarried(t, p, planner.Gear{})
	if !strings.Contains(textOf(p.Steps), "none is carried yet") {
		t.Error("the steps do not say that nothing is carried")
	}
}

func TestStepsStopWhereItIsTooLate(t *testing.T) {
	t.Parallel()
	r := lain(blow([3]float64{0, 50, 6}, [3]float64{6, 45, 6}))
	p := soon(t, r)
	if !strings.HasPrefix(p.Steps[0].Do, "Stop.") || !strings.Contains(p.Crew.CallInTime, "ashore now") {
		t.Errorf("first step %q, call %q", p.Steps[0].Do, p.Crew.CallInTime)
	}
}

// A canopy far too large for the weakest part: its filling alone is too much.
func TestFillingLoadIsHeldAgainstTheWeakestPart(t *testing.T) {
	t.Parallel()
	r := lain(blow([3]float64{0, 15, 1}, [3]float64{12, 50, 6}))
	if p := soon(t, r); warned(p, "filling_over_capacity") {
		t.Errorf("warned with a filling load of %g N", p.Canopy.FillingLoadN.Mid)
	}
	r.Vessel.StrongPoints = []planner.StrongPoint{{Name: "small cleat", WorkingLoadN: 1500}}
	if p := soon(t, r); p.Canopy.FillingLoadN.Mid > 1500 != warned(p, "filling_over_capacity") {
		t.Errorf("filling load %g N on 1500 N: warnings %+v", p.Canopy.FillingLoadN.Mid, p.Warnings)
	}
}

func TestSameRequestSameHoursAndSteps(t *testing.T) {
	t.Parallel()
	r := fully(barely(hull.SailMonohull, planner.RideOutStorm))
	r.Position = &planner.Position{LatitudeDeg: 50, LongitudeDeg: -10}
	r.Crew = []planner.Hand{{Name: "A"}, {Name: "B"}}
	a, b := soon(t, r), soon(t, r)
	if !reflect.DeepEqual(a.Hours, b.Hours) || !reflect.DeepEqual(a.Steps, b.Steps) || !reflect.DeepEqual(a.Crew, b.Crew) {
		t.Error("two plans of one request differ")
	}
}
