package motion

import (
	"cmp"
	"math"
	"slices"

	"rideout/service/physics/numeric"
	"rideout/service/physics/quantity"
	"rideout/service/physics/seaway"
)

// LeadInS is run before a record is counted, so that the start is forgotten.
const LeadInS = 300.0

// SlackBelowN is the tension under which a rode counts as slack.
const SlackBelowN = 1.0

// PeaksKept is how many of a record's largest peaks the tail is fitted to: about the highest
// hundredth of the waves of 3 h.
const PeaksKept = 12

// apartPeaks is how far apart two peaks must be, in peak periods of the sea, to count as independent:
// about a wave group.
const apartPeaks = 4.0

// Tally is what one record of 3 h leaves.
type Tally struct {
	MeanN, StandardDeviationN float64
	SlackShare                float64 // of the time
	Snaps                     int     // times the rode came taut from slack to beyond twice the mean
	Collapses                 int     // slack spells longer than the canopy's fill time
	LongestSlackS             float64
	DriftMS                   float64   // mean, of the vessel through the water
	Peaks                     []float64 // the PeaksKept largest independent peaks in N, largest first
}

// Bench runs records of the sea through systems. It keeps all buffers between runs; the zero value
// is ready. Not safe for concurrent use: one for each goroutine.
type Bench struct {
	synthesiser seaway.Synthesiser
	integrator  Integrator
	water       []float64
	maxima      []maximum
}

// Body is how far the hull smooths the waves it feels: averaged over its length at its depth.
type Body struct {
	LengthM float64 // along the sea
	DepthM  float64 // of the middle of its underwater body
}

// Water makes the record's water at the hull and at the canopy of a system, in space the Bench uses
// again at the next call.
func (b *Bench) Water(s System, body Body, rec *seaway.Record) Water {
	hull := seaway.Velocity(body.DepthM, 0, body.LengthM)
	canopy := seaway.Velocity(s.CanopyDepthM, -s.RodeLengthM, 0)
	b.water = b.synthesiser.Pair(b.water, rec, hull, canopy)
	return Water{b.water, seaway.RecordS / float64(rec.Samples())}
}

// Record runs a system through 3 h of water after a lead-in of LeadInS, with a step of at most
// stepS, and returns its tally and the tension in N at every step of the 3 h. Both the tension and
// the water are valid until the next run.
func (b *Bench) Record(s System, w Water, peakPeriodS, stepS float64) (Tally, []float64, error) {
	tallies, tensions, err := b.Records([]System{s}, w, peakPeriodS, stepS)
	if err != nil {
		return Tally{}, nil, err
	}
	return tallies[0], tensions[0], nil
}

// Records is Record of several systems side by side in the same water: to the same bits, in less time.
func (b *Bench) Records(systems []System, w Water, peakPeriodS, stepS float64) (tallies []Tally, tensions [][]float64, err error) {
	if err := quantity.Within("peak period", peakPeriodS, 0.1, 100, "s"); err != nil {
		return nil, nil, err
	}
	from := make([]State, len(systems))
	for i, s := range systems {
		steady, err := s.Steady()
		if err != nil {
			return nil, nil, err
		}
		from[i] = steady.Start()
	}
	n := len(w.Samples) / 2
	lead := 0
	if w.IntervalS > 0 {
		lead = int(LeadInS / w.IntervalS)
	}
	warm, err := b.integrator.RunAll(systems, from, w, max(n-lead, 0), LeadInS, stepS)
	if err != nil {
		return nil, nil, err
	}
	for i := range from {
		from[i] = warm[i].End
	}
	traces, err := b.integrator.RunAll(systems, from, w, 0, seaway.RecordS, stepS)
	if err != nil {
		return nil, nil, err
	}
	for i, trace := range traces {
		t := tally(trace.TensionN)
		t.spells(trace.TensionN, trace.StepS, systems[i].CanopyFillS)
		t.DriftMS = trace.MeanDriftMS
		t.Peaks = b.peaks(trace.TensionN, t.MeanN, int(apartPeaks*peakPeriodS/trace.StepS))
		tallies, tensions = append(tallies, t), append(tensions, trace.TensionN)
	}
	return tallies, tensions, nil
}

// tally counts what a pass over the tension shows.
func tally(tension []float64) Tally {
	var sum, squares float64
	slack := 0
	for _, v := range tension {
		sum += v
		squares += v * v
		if v < SlackBelowN {
			slack++
		}
	}
	n := float64(len(tension))
	t := Tally{MeanN: sum / n, SlackShare: float64(slack) / n}
	t.StandardDeviationN = math.Sqrt(max(0, squares/n-sq(t.MeanN)))
	wasSlack := false
	for _, v := range tension {
		switch {
		case v < SlackBelowN:
			wasSlack = true
		case wasSlack && v > 2*t.MeanN:
			t.Snaps++
			wasSlack = false
		}
	}
	return t
}

// spells measures the spells of slack, and counts those longer than fillS unless it is 0.
func (t *Tally) spells(tension []float64, stepS, fillS float64) {
	steps := 0
	end := func() {
		long := float64(steps) * stepS
		t.LongestSlackS = max(t.LongestSlackS, long)
		if fillS > 0 && long > fillS {
			t.Collapses++
		}
		steps = 0
	}
	for _, v := range tension {
		switch {
		case v < SlackBelowN:
			steps++
		case steps > 0:
			end()
		}
	}
	end()
}

type maximum struct {
	at    int
	value float64
}

// peaks returns the PeaksKept largest maxima between up-crossings of the mean that stand at least
// apart steps from every larger one, largest first.
func (b *Bench) peaks(tension []float64, mean float64, apart int) []float64 {
	b.maxima = b.maxima[:0]
	top := maximum{-1, mean}
	for i, v := range tension {
		if v > top.value {
			top = maximum{i, v}
		}
		if v < mean && top.at >= 0 {
			b.maxima = append(b.maxima, top)
			top = maximum{-1, mean}
		}
	}
	if top.at >= 0 {
		b.maxima = append(b.maxima, top)
	}
	slices.SortFunc(b.maxima, func(x, y maximum) int { return cmp.Or(cmp.Compare(y.value, x.value), cmp.Compare(x.at, y.at)) })
	kept := make([]maximum, 0, PeaksKept)
	for _, m := range b.maxima {
		near := slices.ContainsFunc(kept, func(k maximum) bool { return max(k.at-m.at, m.at-k.at) < apart })
		if !near {
			kept = append(kept, m)
		}
		if len(kept) == PeaksKept {
			break
		}
	}
	values := make([]float64, len(kept))
	for i, k := range kept {
		values[i] = k.value
	}
	return values
}

// Load is what several records of the same sea say together of one system.
type Load struct {
	MeanN, StandardDeviationN float64
	SlackShare                float64
	SnapsPerHour              float64
	CollapsesPerHour          float64
	LongestSlackS             float64
	DriftMS                   float64
	Peak                      numeric.Largest // of the largest load in 3 h
	MeanMaximumN              float64         // plain mean of the records' maxima
	Records                   int
}

// PeakQuantile is the share of 3 h maxima that stay below the peak load given.
const PeakQuantile = 0.9

// PeakN is the load that 90 % of 3 h maxima stay below.
func (l Load) PeakN() float64 { return l.Peak.Quantile(PeakQuantile) }

// PeakErrorN is the standard error of PeakN that the number of records leaves.
func (l Load) PeakErrorN() float64 { return l.Peak.StandardError(PeakQuantile) }

// Gather joins the tallies of records of one system in one sea.
func Gather(tallies []Tally) (Load, error) {
	peaks := make([][]float64, len(tallies))
	least := PeaksKept
	for i, t := range tallies {
		peaks[i] = t.Peaks
		least = min(least, len(t.Peaks))
	}
	fit, err := numeric.FitLargest(peaks, least)
	if err != nil {
		return Load{}, err
	}
	l := Load{Peak: fit, Records: len(tallies)}
	n := float64(len(tallies))
	const hours = seaway.RecordS / 3600
	variance := 0.0
	for _, t := range tallies {
		l.MeanN += t.MeanN / n
		variance += sq(t.StandardDeviationN) / n
		l.SlackShare += t.SlackShare / n
		l.SnapsPerHour += float64(t.Snaps) / n / hours
		l.CollapsesPerHour += float64(t.Collapses) / n / hours
		l.DriftMS += t.DriftMS / n
		l.LongestSlackS = max(l.LongestSlackS, t.LongestSlackS)
		l.MeanMaximumN += t.Peaks[0] / n
	}
	l.StandardDeviationN = math.Sqrt(variance)
	return l, nil
}
