package planner

import (
	"context"
	"runtime"
	"sync"

	"rideout/service/physics/motion"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
	"rideout/service/physics/seaway"
)

// Seeds of a study: as many records as bring the standard error of every peak to seedErrorShare of it.
const (
	leastSeeds     = 4
	mostSeeds      = 12
	seedErrorShare = 0.05
)

// study is the time-domain answer on one length of rode: one load for each set of ends asked for.
type study struct {
	lengthM float64
	loads   []motion.Load
	damage  []float64 // share of the rode's life an hour of it costs
	kr      rode.Stiffness
	seeds   int
	records int
}

// task is one study to make.
type task struct {
	situation situation
	lengthM   float64
	ends      []uncertain
	seeds     int // 0: as many as the error asks for
	damage    bool
}

// run makes the studies on all processors. Each is computed by itself from its own seeds, so the answer
// does not depend on how they are shared out.
func run(ctx context.Context, tasks []task) ([]study, error) {
	studies, errs := make([]study, len(tasks)), make([]error, len(tasks))
	next := make(chan int)
	var workers sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(tasks)) {
		workers.Go(func() {
			var bench motion.Bench
			for i := range next {
				if errs[i] = places.take(ctx); errs[i] == nil {
					studies[i], errs[i] = tasks[i].do(ctx, &bench)
					places.give()
				}
			}
		})
	}
	for i := range tasks {
		next <- i
	}
	close(next)
	workers.Wait()
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return studies, nil
}

func (t task) do(ctx context.Context, bench *motion.Bench) (study, error) {
	if err := ctx.Err(); err != nil {
		return study{}, err
	}
	x := t.situation
	kr, err := x.stiffness(t.lengthM)
	if err != nil {
		return study{}, err
	}
	systems := make([]motion.System, len(t.ends))
	for i, u := range t.ends {
		if systems[i], err = x.system(t.lengthM, kr.Band, u); err != nil {
			return study{}, err
		}
	}
	if x.flat {
		return t.steady(systems, kr)
	}
	short, _ := x.hour.periods()
	sea, err := x.hour.spectrum(seaway.RecordGrid(short))
	if err != nil {
		return study{}, err
	}
	return t.records(ctx, bench, systems, sea, kr)
}

// steady is the study of a flat sea: nothing swings.
func (t task) steady(systems []motion.System, kr rode.Stiffness) (study, error) {
	s := study{lengthM: t.lengthM, kr: kr, damage: make([]float64, len(systems))}
	for _, system := range systems {
		st, err := system.Steady()
		if err != nil {
			return study{}, err
		}
		l := motion.Load{MeanN: st.TensionN, DriftMS: st.DriftMS, MeanMaximumN: st.TensionN}
		l.Peak.Location, l.Peak.Records, l.Peak.PerRecord = st.TensionN, 1, 2
		s.loads = append(s.loads, l)
	}
	return s, nil
}

func (t task) records(ctx context.Context, bench *motion.Bench, systems []motion.System, sea seaway.Spectrum, kr rode.Stiffness) (study, error) {
	s := study{lengthM: t.lengthM, kr: kr, loads: make([]motion.Load, len(systems)), damage: make([]float64, len(systems))}
	tallies := make([][]motion.Tally, len(systems))
	for seed := 0; ; seed++ {
		if err := ctx.Err(); err != nil {
			return study{}, err
		}
		rec, err := seaway.NewRecord(sea, uint64(seed+1))
		if err != nil {
			return study{}, err
		}
		water := bench.Water(systems[0], t.situation.body(), rec)
		counted, tensions, err := bench.Records(systems, water, t.situation.hour.peakS(), motion.StepS)
		if err != nil {
			return study{}, err
		}
		for i := range systems {
			tallies[i] = append(tallies[i], counted[i])
			if t.damage && seed == 0 {
				if s.damage[i], err = damagePerHour(tensions[i], t.situation.rig); err != nil {
					return study{}, err
				}
			}
		}
		s.seeds, s.records = seed+1, s.records+len(systems)
		if s.seeds < max(t.seeds, 2) || t.seeds == 0 && s.seeds < leastSeeds {
			continue
		}
		for i := range systems {
			if s.loads[i], err = motion.Gather(tallies[i]); err != nil {
				return study{}, err
			}
		}
		if t.seeds > 0 || s.seeds == mostSeeds || s.settled() {
			return s, nil
		}
	}
}

// settled tells whether every peak's standard error is small enough.
func (s study) settled() bool {
	for _, l := range s.loads {
		if l.PeakErrorN() > seedErrorShare*l.PeakN() {
			return false
		}
	}
	return true
}

func damagePerHour(tension []float64, g rig) (float64, error) {
	cycles, err := rode.Rainflow(tension)
	if err != nil {
		return 0, err
	}
	d, err := rode.Damage(cycles, g.strength.AsUsedN.Mid)
	return d / (seaway.RecordS / 3600), err
}

// bands turns the loads of the all-low, all-mid and all-high ends into the document's.
func (s study) bands(drift Band, steady Band) Loads {
	of := func(f func(motion.Load) float64) Band {
		return quantity.BandOf(f(s.loads[0]), f(s.loads[1]), f(s.loads[2]))
	}
	return Loads{
		SteadyN: steady, DriftKt: drift,
		MeanN:              of(func(l motion.Load) float64 { return l.MeanN }),
		StandardDeviationN: of(func(l motion.Load) float64 { return l.StandardDeviationN }),
		MostProbablePeakN:  of(func(l motion.Load) float64 { return l.Peak.MostProbable() }),
		PeakN:              of(motion.Load.PeakN),
		SlackShare:         of(func(l motion.Load) float64 { return l.SlackShare }),
		PeakStandardErrorN: of(motion.Load.PeakErrorN),
	}
}
