package forecast

import (
	"math"
	"time"

	"rideout/service/planner"
)

// Runs splits a record where two neighbouring steps lie more than gap apart, so that January's last
// hour isn't taken to hold until November. Steps must be in time order, as the decoders give them.
// Each run keeps the record's Source and IssuedAt and has at least one step; a record without steps
// has no runs.
func Runs(f planner.Forecast, gap time.Duration) []planner.Forecast {
	var runs []planner.Forecast
	start := 0
	for i := range f.Steps {
		last := i+1 == len(f.Steps)
		if last || f.Steps[i+1].Time.Sub(f.Steps[i].Time) > gap {
			runs = append(runs, withSteps(f, f.Steps[start:i+1:i+1]))
			start = i + 1
		}
	}
	return runs
}

// Every thins a record. Time is cut into spans of length d from the first step on; of each span it
// keeps the step with the strongest wind and the step with the highest sea, swell included, one or two steps, the
// earlier where two are equal. So no peak of wind or sea is thinned away, as it would be by keeping
// every n-th step. A d of zero or less keeps everything.
func Every(f planner.Forecast, d time.Duration) planner.Forecast {
	if d <= 0 || len(f.Steps) == 0 {
		return f
	}
	var kept []planner.Step
	first := f.Steps[0].Time
	for i := 0; i < len(f.Steps); {
		span := f.Steps[i].Time.Sub(first) / d
		end := i + 1
		for end < len(f.Steps) && f.Steps[end].Time.Sub(first)/d == span {
			end++
		}
		kept = append(kept, worst(f.Steps[i:end])...)
		i = end
	}
	return withSteps(f, kept)
}

// worst picks the windiest step and the step of the highest sea, in time order.
func worst(steps []planner.Step) []planner.Step {
	windiest, highest := 0, -1
	for i, s := range steps {
		if s.WindMS > steps[windiest].WindMS {
			windiest = i
		}
		if hasSea(s) && (highest < 0 || seaM(s) > seaM(steps[highest])) {
			highest = i
		}
	}
	switch {
	case highest < 0 || highest == windiest:
		return steps[windiest : windiest+1]
	case highest < windiest:
		return []planner.Step{steps[highest], steps[windiest]}
	default:
		return []planner.Step{steps[windiest], steps[highest]}
	}
}

func hasSea(s planner.Step) bool { return s.HsM != nil || s.SwellHsM != nil }

// seaM is the height of sea and swell together: their energies add.
func seaM(s planner.Step) float64 {
	var hs, swell float64
	if s.HsM != nil {
		hs = *s.HsM
	}
	if s.SwellHsM != nil {
		swell = *s.SwellHsM
	}
	return math.Hypot(hs, swell)
}

func withSteps(f planner.Forecast, steps []planner.Step) planner.Forecast {
	f.Steps = steps
	return f
}
