package planner

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"rideout/service/physics/quantity"
)

// The phases, from the mildest. A phase takes all hours of its class, wherever in the forecast.
var classes = []class{
	{"calm", 0, 0},
	{"strong_wind", 22, 3.0},
	{"gale", 34, 5.5},
	{"storm", 48, 9.0},
}

// class is a phase with the least wind or the least sea that makes it: Beaufort 6, 8 and 10 and the
// probable wave heights of the scale for them (WMO code table 1100). The worse of wind and sea counts.
type class struct {
	name   string
	windKt float64
	hsM    float64
}

func classOf(h hour) int {
	kt, hs := quantity.Knots(h.windMS), h.totalHsM()
	for i := len(classes) - 1; i > 0; i-- {
		if kt >= classes[i].windKt-1e-9 || hs >= classes[i].hsM {
			return i
		}
	}
	return 0
}

// spell is a phase under work: the hours of one class and the worst of them.
type spell struct {
	class   int
	hours   []hour
	worst   situation
	screenN float64 // peak of the worst hour by the screen, at its reference length
	spans   []Span
}

// total is how long the phase lasts in all.
func (s spell) total() float64 {
	sum := 0.0
	for _, h := range s.hours {
		sum += h.hours
	}
	return sum
}

// divide sorts the hours into phases, mildest first, and finds the worst hour of each by screening
// all of them on one length of rode.
func divide(hours []hour, at func(hour) (situation, error), lengthM float64) ([]spell, error) {
	spells := make([]spell, len(classes))
	before := -1
	for _, h := range hours {
		x, err := at(h)
		if err != nil {
			return nil, err
		}
		peak, err := x.screen(lengthM, allMid)
		if err != nil {
			return nil, fmt.Errorf("screen the hour of %s: %w", h.at.Format(time.RFC3339), err)
		}
		i := classOf(h)
		s := &spells[i]
		s.class = i
		end := h.at.Add(time.Duration(h.hours * float64(time.Hour)))
		if i == before {
			s.spans[len(s.spans)-1].Until = end
		} else {
			s.spans = append(s.spans, Span{h.at, end})
		}
		before = i
		if len(s.hours) == 0 || peak.PeakN > s.screenN {
			s.worst, s.screenN = x, peak.PeakN
		}
		s.hours = append(s.hours, h)
	}
	return slices.DeleteFunc(spells, func(s spell) bool { return len(s.hours) == 0 }), nil
}

// hardest is the index of the phase with the greatest screened peak.
func hardest(spells []spell) int {
	worst := 0
	for i, s := range spells {
		if s.screenN > spells[worst].screenN {
			worst = i
		}
	}
	return worst
}

// strongest gives the greatest wind and gust of the hours in knots.
func strongest(hours []hour) (windKt, gustKt float64) {
	for _, h := range hours {
		windKt, gustKt = max(windKt, quantity.Knots(h.windMS)), max(gustKt, quantity.Knots(h.gustMS))
	}
	return windKt, gustKt
}

// missing lists the values estimated anywhere in the hours, in order.
func missing(hours []hour) []string {
	names := []string{}
	for _, h := range hours {
		for _, n := range h.estimated {
			if !slices.Contains(names, n) {
				names = append(names, n)
			}
		}
	}
	slices.SortFunc(names, cmp.Compare[string])
	return names
}
