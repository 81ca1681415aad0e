package planner

import (
	"maps"
	"math"
	"slices"
)

// fit is how well a length of rode keeps the set within its capacity and the rode taut.
type fit int

// From worst to best.
const (
	fitsNowhere fit = iota
	fitsMiddle      // loads at the middle estimate, not at the high end
	fitsBand        // loads to the high end
)

// ends are a figure at the middle estimate and at the high end.
type ends struct{ mid, high float64 }

// over is the ratio at each end.
func (e ends) over(other ends) ends { return ends{ratio(e.mid, other.mid), ratio(e.high, other.high)} }

// ratio is 1 where there is nothing to compare with.
func ratio(a, b float64) float64 {
	if b == 0 {
		return 1
	}
	return a / b
}

// tried is a length of rode with the peak load and the share of time it hangs slack, at the middle.
type tried struct {
	lengthM float64
	peakN   ends
	slack   float64
}

// fit tells whether the length serves.
func (t tried) fit(capacityN, slackLimit float64) fit {
	switch {
	case t.peakN.mid > capacityN || t.slack > slackLimit:
		return fitsNowhere
	case t.peakN.high > capacityN:
		return fitsMiddle
	}
	return fitsBand
}

// payOut picks, of the lengths carried that are long enough to lie to: the shortest that serves to the
// high end of the band; if none does, of those that serve at the middle the one with the least load at
// the high end; if none does, the longest carried. The lengths ascend.
func payOut(lengths []tried, carriedM, leastM, slackLimit, capacityN float64) (best int, how fit) {
	for i, t := range lengths {
		if t.lengthM > carriedM+1e-6 {
			break
		}
		if how == fitsNowhere {
			best = i
		}
		if t.lengthM < leastM-1e-6 {
			continue
		}
		switch f := t.fit(capacityN, slackLimit); {
		case f == fitsBand:
			return i, f
		case f == fitsMiddle && (how == fitsNowhere || t.peakN.high < lengths[best].peakN.high):
			best, how = i, f
		}
	}
	return best, how
}

// found is what a study in the time domain says of its length.
func found(s study) tried {
	t := tried{s.lengthM, ends{mid: s.loads[1].PeakN()}, s.loads[1].SlackShare}
	for _, l := range s.loads {
		t.peakN.high = math.Max(t.peakN.high, l.PeakN())
	}
	return t
}

// tried is what the curve of the worst phase found.
func (c *computation) tried() []tried {
	list := make([]tried, len(c.curve))
	for i, s := range c.curve {
		list[i] = found(s)
	}
	return list
}

// screenCurve screens a situation on each length of the curve.
func (c *computation) screenCurve(x situation) ([]tried, error) {
	list := make([]tried, len(c.curve))
	for i, s := range c.curve {
		mid, err := x.screen(s.lengthM, allMid)
		if err != nil {
			return nil, err
		}
		high, err := x.screen(s.lengthM, allHigh)
		if err != nil {
			return nil, err
		}
		list[i] = tried{s.lengthM, ends{mid.PeakN, math.Max(mid.PeakN, high.PeakN)}, mid.SlackShare}
	}
	return list, nil
}

// search looks for the length to pay out in a phase that has no curve of its own: by the screen, which
// is set right by each study made. The screen knows no snap of a slack rode, so that in an old sea
// under a falling wind it says too little.
type search struct {
	lengths []tried
	studies map[int]study
	pick    func([]tried) (int, fit)
}

func (c *computation) search(spell int) (*search, error) {
	x := c.spells[spell].worst
	lengths, err := c.screenCurve(x)
	if err != nil {
		return nil, err
	}
	for j, t := range c.tried() { // as the study of the worst phase differs from its screen
		lengths[j] = lengths[j].raised(t.peakN.over(c.screens[j].peakN), ratio(t.slack, c.screens[j].slack))
	}
	leastM := shortestM(x)
	pick := func(of []tried) (int, fit) { return payOut(of, c.carriedM, leastM, c.policy.SlackLimit, c.capacityN) }
	return &search{lengths, map[int]study{}, pick}, nil
}

// raised is the length with more load and slack by these ratios; a ratio below 1 is not believed.
func (t tried) raised(peakN ends, slack float64) tried {
	t.peakN = ends{t.peakN.mid * math.Max(1, peakN.mid), t.peakN.high * math.Max(1, peakN.high)}
	t.slack = math.Min(1, t.slack*math.Max(1, slack))
	return t
}

// next is the length to study next; none when the one picked is studied.
func (s *search) next() (i int, more bool) {
	i, _ = s.pick(s.lengths)
	_, studied := s.studies[i]
	return i, !studied
}

// learn puts a study in the place of the screen and raises the lengths not yet studied as it differs.
func (s *search) learn(at int, got study) {
	s.studies[at] = got
	t := found(got)
	peakN, slack := t.peakN.over(s.lengths[at].peakN), ratio(t.slack, s.lengths[at].slack)
	for j := range s.lengths {
		if _, studied := s.studies[j]; !studied {
			s.lengths[j] = s.lengths[j].raised(peakN, slack)
		}
	}
	s.lengths[at] = t
}

// best is the pick among the lengths studied.
func (s *search) best() (at int, how fit) {
	at, how = s.pick(s.lengths)
	if _, studied := s.studies[at]; studied {
		return at, how
	}
	indices := slices.Sorted(maps.Keys(s.studies))
	known := make([]tried, len(indices))
	for k, i := range indices {
		known[k] = s.lengths[i]
	}
	k, how := s.pick(known)
	return indices[k], how
}
