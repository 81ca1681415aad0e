package drift

import (
	"math"
	"slices"
)

const (
	secondsPerHour = 3600.0
	stepH          = 0.25 // the longest step
	sameH          = 1e-6 // instants closer than this are one
)

// step is a short time in which every velocity is held at what it is in the middle.
type step struct {
	Span
	fromH, hours float64
	mark         int // kept at the end of the step, or 0; mark 0 is the start

	windShare, windDirection, currentMS float64 // standard deviations

	// A unit process keeps this much of itself since the middle of the step before, and gains that much anew.
	windKept, windNew, currentKept, currentNew float64

	switches float64 // probability of an odd number of changes of side
}

// marksOf returns the instants at which positions are kept: the start, every full hour, the end, and the
// further ones, in order and each once.
func (c Case) marksOf() []float64 {
	end := hours(c.Spans)
	marks := append([]float64{0, end}, c.AtH...)
	for h := 1.0; h < end; h++ {
		marks = append(marks, h)
	}
	return distinct(marks)
}

// distinct sorts instants and leaves out those that repeat one.
func distinct(instants []float64) []float64 {
	slices.Sort(instants)
	return slices.CompactFunc(instants, func(a, b float64) bool { return math.Abs(b-a) < sameH })
}

// stepsOf divides the spans into steps no longer than stepH that end at every mark and at every span's end.
func (c Case) stepsOf(marks []float64) []step {
	ends := slices.Clone(marks)
	at := 0.0
	for _, s := range c.Spans {
		at += s.Hours
		ends = append(ends, at)
	}
	ends = distinct(ends)
	var steps []step
	mark := 1
	for i := 1; i < len(ends); i++ {
		n := math.Ceil((ends[i]-ends[i-1])/stepH - sameH)
		for k := range int(n) {
			steps = append(steps, step{fromH: ends[i-1] + float64(k)*(ends[i]-ends[i-1])/n, hours: (ends[i] - ends[i-1]) / n})
		}
		if mark < len(marks) && math.Abs(marks[mark]-ends[i]) < sameH {
			steps[len(steps)-1].mark = mark
			mark++
		}
	}
	c.fill(steps)
	return steps
}

// fill gives each step what holds in its middle.
func (c Case) fill(steps []step) {
	span, spanEnd := 0, c.Spans[0].Hours
	for i := range steps {
		s := &steps[i]
		middle := s.fromH + s.hours/2
		for middle > spanEnd && span < len(c.Spans)-1 {
			span++
			spanEnd += c.Spans[span].Hours
		}
		s.Span = c.Spans[span]
		s.windShare, s.windDirection = c.Spread.WindShare.At(middle), c.Spread.WindDirection.At(middle)
		s.currentMS = c.Spread.CurrentMS.Mid
		s.windNew, s.currentNew = 1, 1 // the first draw is from the steady state
		if i > 0 {
			since := (s.hours + steps[i-1].hours) / 2
			s.windKept, s.windNew = memory(since, c.Spread.WindScaleH.Mid)
			s.currentKept, s.currentNew = memory(since, c.Spread.CurrentScaleH.Mid)
		}
		s.switches = -math.Expm1(-2*c.Spread.SwitchPerH.Mid*s.hours) / 2
	}
}

// memory gives the exact update of an Ornstein-Uhlenbeck process of unit variance over a time: the share kept
// and the standard deviation of what comes new.
func memory(hours, scaleH float64) (kept, fresh float64) {
	if scaleH == 0 { // no error to remember
		return 0, 1
	}
	return math.Exp(-hours / scaleH), math.Sqrt(-math.Expm1(-2 * hours / scaleH))
}
