package main

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"rideout/service/calibration"
	"rideout/service/physics/canopy"
	"rideout/service/physics/wind"
	"rideout/service/planner"
)

// TRUST.md says how far to trust the figures, by those of two vessels of the demo in the first hours of the storm forecast.
// Each input is moved by itself, in the same seas, on the length of rode the plan pays out.
func TestTrust(t *testing.T) {
	t.Parallel()
	b := map[string]string{}
	for _, c := range []struct{ block, claim string }{{"kestrel", "demo-kestrel-storm"}, {"petrel", "demo-petrel-gale"}} {
		x := newTrial(t, c.claim)
		b["bands "+c.block] = x.bands()
		b["inputs "+c.block] = x.inputs()
		if c.block == "kestrel" {
			b["measured"] = x.measured()
			b["outcomes"] = x.outcomes()
		}
	}
	heldPage(t, "service/physics/TRUST.md", b)
}

// trialSeas is how many seas each trial is computed on.
const trialSeas = 6

// trial is a request that is computed again and again with one thing changed.
type trial struct {
	t       *testing.T
	request planner.Request
	plan    planner.Plan
	windN   float64
}

func newTrial(t *testing.T, claim string) trial {
	t.Helper()
	_, scenario, err := readScenario()
	if err != nil {
		t.Fatal(err)
	}
	request := func(claim string) planner.Request {
		i := slices.IndexFunc(scenario, func(p demoPlan) bool { return p.claim.Key == claim })
		if i < 0 {
			t.Fatalf("the scenario has no plan %s", claim)
		}
		return scenario[i].request
	}
	r := request(claim)
	r.Forecast = request("demo-kestrel-storm").Forecast
	r.Forecast.Steps = r.Forecast.Steps[:1]
	r.Position, r.Crew, r.Assume.Seeds = nil, nil, new(trialSeas)
	x := trial{t: t, request: r}
	var working []planner.WorkingStep
	x.plan, working = x.compute(func(*planner.Request) {})
	x.request.RodeTried = []float64{x.plan.Rode.PayOutM}
	for _, step := range working {
		for _, v := range step.Values {
			if v.Symbol == "Fw" && v.Result {
				x.windN = v.Value
			}
		}
	}
	if x.windN == 0 {
		t.Fatal("the working has no wind force")
	}
	return x
}

func (x trial) compute(change func(*planner.Request)) (planner.Plan, []planner.WorkingStep) {
	x.t.Helper()
	r := x.request
	r.Forecast.Steps = slices.Clone(r.Forecast.Steps)
	change(&r)
	plan, working, err := planner.Compute(x.t.Context(), r)
	if err != nil {
		x.t.Fatal(err)
	}
	return plan, working
}

func (x trial) loads(change func(*planner.Request)) planner.Loads {
	x.t.Helper()
	plan, _ := x.compute(change)
	return plan.Loads
}

func (x trial) bands() string {
	l := x.plan.Loads
	row := func(name string, b planner.Band, by float64, format string) []string {
		row := append([]string{name}, plainBand(b.Scale(by), format)...)
		if b.Mid == 0 {
			return append(row, "-", "-")
		}
		return append(row, fmt.Sprintf("%.0f %%", 100*b.Low/b.Mid), fmt.Sprintf("%.0f %%", 100*b.High/b.Mid))
	}
	return table(
		[]string{fmt.Sprintf("%s, %.0f m of rode out", x.plan.VesselName, x.plan.Rode.PayOutM), "low", "mid", "high", "low of mid", "high of mid"},
		row("steady pull, kN", l.SteadyN, 1e-3, "%.1f"),
		row("peak that nine of ten spells of 3 h stay below, kN", l.PeakN, 1e-3, "%.1f"),
		row("its standard error from the number of seas, kN", l.PeakStandardErrorN, 1e-3, "%.2f"),
		row("drift through the water, kt", l.DriftKt, 1, "%.2f"),
		row("load of a breaking crest on the bow, kN", x.plan.Phases[0].CrestStrikeN, 1e-3, "%.1f"),
	)
}

// moved is one input moved to its ends.
type moved struct {
	name, low, high string
	in              string // which band it is in
	set             func(*planner.Request, float64)
	from, to        float64
}

// inputs is the table of what each input does to peak and drift.
func (x trial) inputs() string {
	mid := x.loads(func(*planner.Request) {})
	type line struct {
		row   []string
		moves float64
	}
	var lines []line
	for _, m := range x.moves() {
		low := x.loads(func(r *planner.Request) { m.set(r, m.from) })
		high := x.loads(func(r *planner.Request) { m.set(r, m.to) })
		of := func(got, mid float64) string { return fmt.Sprintf("%.0f %%", 100*got/mid) }
		lines = append(lines, line{
			row: []string{
				m.name, m.low, m.high, of(low.PeakN.Mid, mid.PeakN.Mid), of(high.PeakN.Mid, mid.PeakN.Mid),
				of(low.DriftKt.Mid, mid.DriftKt.Mid), of(high.DriftKt.Mid, mid.DriftKt.Mid), m.in,
			},
			moves: math.Abs(high.PeakN.Mid - low.PeakN.Mid),
		})
	}
	slices.SortStableFunc(lines, func(a, b line) int { return cmp.Compare(b.moves, a.moves) })
	rows := [][]string{{"input", "low", "high", "peak at low", "at high", "drift at low", "at high", "in the plan's"}}
	for _, l := range lines {
		rows = append(rows, l.row)
	}
	return table(rows...)
}

func (x trial) moves() []moved {
	var all []moved
	add := func(name, unit, in string, from, to float64, set func(*planner.Request, float64)) {
		word := func(v float64) string {
			format := "%.3g %s"
			if v >= 1000 {
				format = "%.0f %s"
			}
			return strings.TrimSpace(fmt.Sprintf(format, v, unit))
		}
		all = append(all, moved{name, word(from), word(to), in, set, from, to})
	}
	for _, in := range x.plan.Bands.Inputs {
		low, mid, high := in.Value.Low, in.Value.Mid, in.Value.High
		switch {
		case strings.HasPrefix(in.Name, "dynamic stiffness"):
			add("dynamic stiffness of the rode", "Fb", "peak", low, high, func(r *planner.Request, v float64) { r.Assume.DynamicStiffness = &v })
		case strings.HasPrefix(in.Name, "canopy drag"):
			add("canopy drag coefficient Cd0", "", "peak and drift", low, high, func(r *planner.Request, v float64) { r.Assume.CanopyCd0 = &v })
		case strings.HasPrefix(in.Name, "mean wave drift"):
			add("mean wave drift", "N", "peak and drift", low, high, func(r *planner.Request, v float64) { r.Assume.WaveDriftShare = new(v / mid) })
		case strings.HasPrefix(in.Name, "static curve"):
			add("static curve of the rode, a", "", "list of inputs", low, high, func(r *planner.Request, v float64) { r.Assume.StaticA = &v })
		case strings.HasPrefix(in.Name, "relaxation"):
			add("relaxation time of the rode", "s", "list of inputs", low, high, func(r *planner.Request, v float64) { r.Assume.RelaxationS = &v })
		case strings.HasPrefix(in.Name, "wind force"):
		default:
			x.t.Fatalf("the plan has an input more: %s", in.Name)
		}
	}
	spread, held := wind.EstimateSpread(), "peak and drift"
	if len(x.request.Vessel.Windage) > 0 {
		held = "nothing: areas are given"
	}
	add("wind force, as if areas were estimated", "N", held, spread.Low*x.windN, spread.High*x.windN, func(r *planner.Request, v float64) { r.Assume.WindForceN = &v })
	for _, a := range x.plan.Assumptions {
		switch {
		case strings.HasPrefix(a.Name, "added mass along"):
			add("water surging with the hull, of displacement", "", "assumptions", a.Value.Low, a.Value.High, func(r *planner.Request, v float64) { r.Assume.HullAddedMassShare = &v })
		case strings.HasPrefix(a.Name, "hull drag area"):
			add("drag area of the hull", "m²", "assumptions", a.Value.Low, a.Value.High, func(r *planner.Request, v float64) { r.Assume.HullDragAreaM2 = &v })
		}
	}
	c, err := canopy.New(canopy.Shape(x.plan.Canopy.Shape), x.plan.Canopy.UsedDiameterM)
	if err != nil {
		x.t.Fatal(err)
	}
	add("water moving with the canopy, enclosed or disc", "kg", "assumptions", c.EnclosedKg().Low, c.InertiaKg().High, func(r *planner.Request, v float64) { r.Assume.CanopyInertiaKg = &v })
	depth := x.plan.Canopy.DepthM
	add("depth of the canopy, half or half as much again", "m", "nothing", 0.5*depth, 1.5*depth, func(r *planner.Request, v float64) { r.Assume.CanopyDepthM = &v })
	share := func(name string, by float64, set func(*planner.Step, float64)) {
		add(name, "of it", "nothing: the forecast", 1-by, 1+by, func(r *planner.Request, v float64) { set(&r.Forecast.Steps[0], v) })
	}
	share("wind of the forecast", 0.10, func(s *planner.Step, f float64) { s.WindMS *= f })
	share("wave height of the forecast", 0.15, func(s *planner.Step, f float64) { s.HsM = new(*s.HsM * f) })
	share("wave period of the forecast", 0.10, func(s *planner.Step, f float64) { s.TpS = new(*s.TpS * f) })
	return all
}

// measured is what knowing one thing leaves of the bands.
func (x trial) measured() string {
	mid := map[string]float64{}
	for _, in := range x.plan.Bands.Inputs {
		mid[in.Name] = in.Value.Mid
	}
	stiffness := func(r *planner.Request) { r.Assume.DynamicStiffness = new(mid["dynamic stiffness of the rode"]) }
	drag := func(r *planner.Request) { r.Assume.CanopyCd0 = new(mid["canopy drag coefficient Cd0"]) }
	waves := func(r *planner.Request) { r.Assume.WaveDriftShare = new(1.0) }
	rows := [][]string{bandHead("what is known")}
	for _, k := range []struct {
		name string
		set  []func(*planner.Request)
	}{
		{"nothing but what was sent", nil},
		{"the rode's stiffness, cycled at wave frequency", []func(*planner.Request){stiffness}},
		{"the canopy's drag", []func(*planner.Request){drag}},
		{"the push of the waves", []func(*planner.Request){waves}},
		{"stiffness and drag", []func(*planner.Request){stiffness, drag}},
		{"all three", []func(*planner.Request){stiffness, drag, waves}},
	} {
		l := x.loads(func(r *planner.Request) {
			for _, set := range k.set {
				set(r)
			}
		})
		rows = append(rows, append([]string{k.name}, peakAndDrift(l)...))
	}
	return table(rows...)
}

func bandHead(first string) []string {
	return []string{first, "peak low, kN", "mid", "high", "drift low, kt", "mid", "high"}
}

func peakAndDrift(l planner.Loads) []string {
	return append(inKN(l.PeakN), plainBand(l.DriftKt, "%.2f")...)
}

// outcomes is what the outcomes of one boat teach, and what is left open of her peak and drift by it. Her truth is the plan's
// own, so that the middles show what chance does.
func (x trial) outcomes() string {
	rows := [][]string{{"outcomes", "each of", "windage factor", "drag factor", "drift factor", "peak at the windage's low, kN", "high", "drift at its factor's low, kt", "high"}}
	for _, c := range []struct {
		n     int
		loads bool
	}{{0, false}, {1, false}, {3, false}, {10, false}, {20, false}, {1, true}, {3, true}, {10, true}, {20, true}} {
		result, err := calibration.Estimate(invented(c.n, c.loads), calibration.DefaultPrior())
		if err != nil {
			x.t.Fatal(err)
		}
		f, kind := result.Unseen, "drift"
		if c.n > 0 {
			f = calibration.FactorPair{Windage: result.Vessels[0].Windage, Drag: result.Canopies[0].Drag, Drift: result.Pairs[0].Drift}
		}
		switch {
		case c.n == 0:
			kind = "-"
		case c.loads:
			kind = "drift and mean load"
		}
		peak := func(windage float64) string {
			return kN(x.loads(func(r *planner.Request) { r.Calibration = applied(windage, f.Drag.Mid) }).PeakN.Mid)
		}
		drift := func(factor float64) string { return fmt.Sprintf("%.2f", x.plan.Loads.DriftKt.Mid*factor) }
		word := func(f calibration.Factor) string { return fmt.Sprintf("%.2f (%.2f to %.2f)", f.Mid, f.Low, f.High) }
		rows = append(rows, []string{
			fmt.Sprint(c.n), kind, word(f.Windage), word(f.Drag), word(f.Drift),
			peak(f.Windage.Low), peak(f.Windage.High), drift(f.Drift.Low), drift(f.Drift.High),
		})
	}
	return table(rows...)
}

// applied are factors that a plan is computed with, as if they were known.
func applied(windage, drag float64) *planner.Calibration {
	known := func(v float64) planner.Learnt { return planner.Learnt{Band: planner.Band{Low: v, Mid: v, High: v}} }
	return &planner.Calibration{Apply: true, Windage: known(windage), Drag: known(drag), Drift: known(math.Sqrt(windage / drag))}
}

// invented is what a boat whose plan is right would note: so many drifts, with a load each or without, 10 % off by chance.
func invented(n int, loads bool) (seen []calibration.Observation) {
	const noise = 0.10
	chance := rand.New(rand.NewPCG(1, 2))
	for i := range n {
		o := calibration.Observation{ID: fmt.Sprint(i), Vessel: "she", Canopy: "hers", Share: noise, Kind: calibration.Drift, Predicted: 0.8}
		o.Observed = o.Predicted * math.Exp(noise*chance.NormFloat64())
		seen = append(seen, o)
		load := chance.NormFloat64()
		if loads {
			o.Kind, o.Predicted = calibration.Load, 5000
			o.Observed = o.Predicted * math.Exp(noise*load)
			seen = append(seen, o)
		}
	}
	return seen
}
