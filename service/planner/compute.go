package planner

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"rideout/service/physics/canopy"
	"rideout/service/physics/hardware"
	"rideout/service/physics/quantity"
)

// Compute makes the plan of a request, and its working. It returns an *InvalidError for a request
// Validate finds problems in and for a case the model does not cover, and the context's error when
// that ends first. The same request gives the same bits; nothing is kept.
func Compute(ctx context.Context, r Request) (Plan, []WorkingStep, error) {
	if p := Validate(r); len(p) > 0 {
		return Plan{}, nil, &InvalidError{p}
	}
	c := computation{request: r, policy: policyOf(r)}
	c.plan.ChangeFirst, c.plan.Hours, c.plan.Steps = []Upgrade{}, []Hour{}, []Instruction{}
	begin := watcher(ctx)
	for _, step := range []struct {
		name string
		do   func(context.Context) error
	}{
		{"resolve", c.resolve},
		{"choose gear", c.chooseGear},
		{"screen", c.divide},
		{"integrate", c.studyWorst},
		{"pay out", c.studyOthers},
		{"document", c.document},
	} {
		if err := ctx.Err(); err != nil {
			return Plan{}, nil, err
		}
		end := begin(step.name)
		err := step.do(ctx)
		end(err)
		if err != nil {
			return Plan{}, nil, uncovered(err)
		}
	}
	return c.plan, c.book.working, nil
}

// uncovered turns a value outside a theory's range, which only the computation finds, into a problem
// of the request.
func uncovered(err error) error {
	var out *quantity.RangeError
	if !errors.As(err, &out) {
		return err
	}
	p := Problem{"", "the model does not cover this case: " + err.Error(), "change the vessel, the gear or the forecast"}
	if out.Name == "steady tension" {
		p = Problem{"/gear/rode", fmt.Sprintf("the rode would part under the steady load alone: %.0f N on a strength as used of %.0f N", out.Value, out.Max), "send a stronger rode, or a forecast with less wind"}
	}
	return &InvalidError{[]Problem{p}}
}

// mostStudies is how many lengths of rode a phase without a curve is studied on at most.
const mostStudies = 4

// beamOnFromDeg is the heading wished from which keeping the bow up is no aim.
const beamOnFromDeg = 60

// computation is a plan under work.
type computation struct {
	request Request
	policy  Policy
	book    book

	ship      ship
	hours     []hour
	wishMS    float64
	rig       rig
	carriedM  float64 // rode carried, or recommended where none is
	chain     []hardware.Link
	capacityN float64 // of the weakest part
	rigging   rigging

	keepsBowUp bool // asked of the canopy: not where she lies beam-on by choice
	yawDeg     Band // how far the bow falls off on the canopy used
	sizes      []CanopySize
	bestM      float64 // canopy recommended

	spells  []spell
	worst   int // index of the spell with the greatest load
	curve   []study
	screens []tried // the curve by the screen
	at      []int   // index of the curve's length paid out in each spell; -1: its own
	studies []study // of each spell at its pay-out
	inputs  []input
	fits    []fit
	records int

	timetable *timetable

	plan Plan
}

// resolve fills in vessel and weather.
func (c *computation) resolve(context.Context) (err error) {
	if c.ship, err = resolveShip(c.request, &c.book); err != nil {
		return err
	}
	if c.hours, err = resolveWeather(c.request.Forecast, &c.book); err != nil {
		return err
	}
	c.wishMS = wishedDriftMS(c.request, &c.book)
	c.warnOfSea()
	return nil
}

// windiest is the hour of the greatest wind; of equals the one of the greater sea.
func windiest(hours []hour) hour {
	return slices.MaxFunc(hours, func(a, b hour) int {
		switch {
		case a.windMS != b.windMS:
			return sign(a.windMS - b.windMS)
		}
		return sign(a.totalHsM() - b.totalHsM())
	})
}

func sign(x float64) int {
	switch {
	case x < 0:
		return -1
	case x > 0:
		return 1
	}
	return 0
}

// chooseGear settles the rig the loads are computed for: what is carried, and recommended parts for
// what is not.
func (c *computation) chooseGear(context.Context) error {
	fallback, err := provisionalRig(c.ship, windiest(c.hours))
	if err != nil {
		return err
	}
	g, err := carriedRig(c.request, fallback, &c.book)
	if err != nil {
		return err
	}
	hardest, err := c.hardestHour(g)
	if err != nil {
		return err
	}
	x, err := newSituation(c.ship, g, c.request.Assume, hardest)
	if err != nil {
		return err
	}
	mm, length, err := chooseRode(x, c.request.Assume, c.policy)
	if err != nil {
		return err
	}
	c.plan.Rode.RecommendedMM, c.plan.Rode.RecommendedM = mm, length
	if !g.rodeCarried {
		g.rode.DiameterMM, g.rode.LengthM = mm, length
		if l := c.request.Lying; l != nil { // as long as what is out of it
			g.rode.LengthM = math.Max(length, l.RodeOutM)
		}
		if g, err = g.resolve(c.request.Assume, &book{}); err != nil {
			return err
		}
		x.rig = g
		c.book.assume("rode", quantity.Exactly(mm), "mm", "recommended here", fmt.Sprintf("none is carried: loads are for %.0f m of %.0f mm three-strand nylon, spliced", length, mm))
	}
	c.carriedM = g.rode.LengthM
	if err := c.makeFast(x); err != nil {
		return err
	}
	if err := c.weighChain(g, &book{}); err != nil {
		return err
	}
	return c.chooseCanopy(g, x)
}

// hardestHour is the hour with the greatest load by the screen.
func (c *computation) hardestHour(g rig) (hour, error) {
	spells, err := divide(c.hours, c.situations(g), g.rode.LengthM)
	if err != nil {
		return hour{}, err
	}
	return spells[hardest(spells)].worst.hour, nil
}

func (c *computation) situations(g rig) func(hour) (situation, error) {
	return func(h hour) (situation, error) { return newSituation(c.ship, g, c.request.Assume, h) }
}

func (c *computation) weighChain(g rig, b *book) (err error) {
	if c.chain, err = links(c.ship, g, c.rigging, c.request.Gear, b); err != nil {
		return err
	}
	c.capacityN, err = weakestN(c.chain, c.policy.Factors)
	return err
}

func (c *computation) chooseCanopy(g rig, x situation) (err error) {
	limit := math.Inf(1)
	if c.keepsBowUp = x.ship.heading.Degrees() < beamOnFromDeg; c.keepsBowUp {
		limit = c.policy.YawLimitDeg
	}
	if c.sizes, c.bestM, err = ladder(x, pointOf(c.rigging.fore), c.carriedM, c.wishMS, c.capacityN, limit); err != nil {
		return err
	}
	if !g.canopyCarried {
		if g.canopy, err = g.cut(recommendedShape, c.bestM, c.request.Assume); err != nil {
			return err
		}
		c.book.assume("canopy", quantity.Exactly(c.bestM), "m", "recommended here", "none is carried: loads are for a flat circular canopy of this diameter")
	}
	c.rig = g
	c.noteCanopy()
	return nil
}

func (c *computation) noteCanopy() {
	a := c.request.Assume
	if a.CanopyCd0 != nil {
		c.book.given("canopy_cd0", *a.CanopyCd0, "")
	} else if c.rig.drag.Mid > 0 {
		c.book.assume("canopy drag coefficient Cd0", c.rig.canopy.Cd0(), "", learntSource, fmt.Sprintf("the middle of the band of the cut, times the factor learnt (%.2f)", c.rig.drag.Mid))
	} else {
		c.book.assume("canopy drag coefficient Cd0", c.rig.canopy.Cd0(), "", canopy.Cd0Source, "no tow trial of the canopy")
	}
	if a.CanopyInertiaKg != nil {
		c.book.given("canopy_inertia_kg", *a.CanopyInertiaKg, "kg")
	} else {
		c.book.assume("water moving with the canopy", c.rig.canopy.InertiaKg(), "kg", "disc of the projected radius, 8/3 rho R^3, Lamb (1932), from memory", "not measured")
	}
	if a.CanopyDepthM != nil {
		c.book.given("canopy_depth_m", *a.CanopyDepthM, "m")
	}
}

// divide sorts the forecast into phases on the settled rig.
func (c *computation) divide(context.Context) (err error) {
	if c.spells, err = divide(c.hours, c.situations(c.rig), c.carriedM); err != nil {
		return err
	}
	c.worst = hardest(c.spells)
	x := c.spells[c.worst].worst
	if err := c.makeFast(x); err != nil { // again, to the canopy settled on
		return err
	}
	if err := c.weighChain(c.rig, &c.book); err != nil {
		return err
	}
	yaw, err := c.rigging.lying.Yaw(pointOf(c.rigging.fore))
	if err != nil {
		return err
	}
	c.yawDeg = yaw.AtMostDeg
	if c.request.Assume.CanopyDepthM == nil && x.sinkerN == 0 {
		c.book.assume("depth of the canopy", quantity.Exactly(x.neededM), "m", "our rule: its rim stays under the trough of the highest of 1000 waves", "its weight and float line are to be set for it")
	}
	return nil
}

// studyWorst computes the curve of peak load against rode length in the worst phase and picks the
// length to pay out there.
func (c *computation) studyWorst(ctx context.Context) (err error) {
	x := c.spells[c.worst].worst
	var tasks []task
	for _, l := range curveLengths(c.request, x, c.carriedM) {
		tasks = append(tasks, task{situation: x, lengthM: l, ends: []uncertain{allLow, allMid, allHigh}, seeds: c.seeds(), damage: true})
	}
	if c.curve, err = run(ctx, tasks); err != nil {
		return err
	}
	for _, s := range c.curve {
		c.records += s.records
	}
	c.screens, err = c.screenCurve(x)
	return err
}

// seeds is how many records are asked for; 0: as many as the error asks for.
func (c *computation) seeds() int {
	if s := c.request.Assume.Seeds; s != nil {
		return *s
	}
	return 0
}

// studyOthers picks the pay-out of every phase, computes the other phases there, and the worst
// phase with one input at a time at its ends.
func (c *computation) studyOthers(ctx context.Context) error {
	if err := c.payOutAll(ctx); err != nil {
		return err
	}
	var tasks []task
	x := c.spells[c.worst].worst
	paid := c.curve[c.at[c.worst]]
	c.inputs = uncertainInputs(x, paid.kr)
	for _, in := range c.inputs {
		tasks = append(tasks, task{situation: x, lengthM: paid.lengthM, ends: []uncertain{in.low, allMid, in.high}, seeds: driverSeeds})
	}
	got, err := run(ctx, tasks)
	if err != nil {
		return err
	}
	for _, s := range got {
		c.records += s.records
	}
	for i := range c.inputs {
		c.inputs[i].measure(got[i], paid)
	}
	return nil
}

// payOutAll picks the pay-out of every phase, each confirmed in the time domain.
func (c *computation) payOutAll(ctx context.Context) error {
	n := len(c.spells)
	c.at, c.fits, c.studies = make([]int, n), make([]fit, n), make([]study, n)
	searches := make([]*search, n)
	for i := range c.spells {
		var err error
		if i == c.worst {
			c.at[i], c.fits[i] = payOut(c.tried(), c.carriedM, shortestM(c.spells[i].worst), c.policy.SlackLimit, c.capacityN)
			c.studies[i] = c.curve[c.at[i]]
		} else if searches[i], err = c.search(i); err != nil {
			return err
		}
	}
	for range mostStudies {
		var tasks []task
		var spells, lengths []int
		for i, s := range searches {
			if s == nil {
				continue
			}
			if at, more := s.next(); more {
				tasks = append(tasks, task{situation: c.spells[i].worst, lengthM: c.curve[at].lengthM, ends: []uncertain{allLow, allMid, allHigh}, seeds: c.seeds(), damage: true})
				spells, lengths = append(spells, i), append(lengths, at)
			}
		}
		got, err := run(ctx, tasks)
		if err != nil {
			return err
		}
		for k, s := range got {
			searches[spells[k]].learn(lengths[k], s)
			c.records += s.records
		}
	}
	for i, s := range searches {
		if s != nil {
			c.at[i], c.fits[i] = s.best()
			c.studies[i] = s.studies[c.at[i]]
		}
	}
	return nil
}
