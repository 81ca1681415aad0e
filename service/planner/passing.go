package planner

import (
	"math"
	"time"

	"rideout/service/physics/quantity"
)

// reading is one quantity of the forecast, and the value of it that counts as passed.
type reading struct {
	of    func(hour) float64
	limit float64
}

func windPasses(kt float64) reading {
	return reading{func(h hour) float64 { return quantity.Knots(h.windMS) }, kt}
}

func gustPasses(kt float64) reading {
	return reading{func(h hour) float64 { return quantity.Knots(h.gustMS) }, kt}
}

func seaPasses(hsM float64) reading { return reading{hour.totalHsM, hsM} }

// course is the forecast as a line through its steps: straight between two of them, level after the
// last for as long as that holds. Before the first it says nothing.
type course struct {
	hours []hour
	ends  time.Time
}

func courseOf(hours []hour) course {
	last := hours[len(hours)-1]
	return course{hours, last.at.Add(inHours(last.hours))}
}

func inHours(h float64) time.Duration { return time.Duration(math.Round(h*3600)) * time.Second }

// at is the value of a reading at a time; the first step's before the first.
func (c course) at(r reading, t time.Time) float64 {
	for i, h := range c.hours[:len(c.hours)-1] {
		if next := c.hours[i+1]; t.Before(next.at) {
			share := math.Max(0, float64(t.Sub(h.at))/float64(next.at.Sub(h.at)))
			return (1-share)*r.of(h) + share*r.of(next)
		}
	}
	return r.of(c.hours[len(c.hours)-1])
}

// passed is the first time from one on at which any reading is at its limit or above; ok is false when
// the forecast has none.
func (c course) passed(from time.Time, any ...reading) (first time.Time, ok bool) {
	for _, r := range any {
		if t, found := c.first(from, r, true); found && (!ok || t.Before(first)) {
			first, ok = t, true
		}
	}
	return first, ok
}

// below is the first stretch from a time on in which every reading stays below its limit for a length of
// time, or from its beginning to the end of the forecast.
func (c course) below(from time.Time, leastH float64, all ...reading) (Span, bool) {
	for t := from; t.Before(c.ends); {
		begin := t
		for _, r := range all { // the latest at which each has fallen
			fell, found := c.first(begin, r, false)
			if !found {
				return Span{}, false
			}
			begin = fell
		}
		until, ends := c.passed(begin, all...)
		if !ends {
			return Span{begin, c.ends}, begin.Before(c.ends)
		}
		if until.Sub(begin) >= inHours(leastH) {
			return Span{begin, until}, true
		}
		t = later(until, t.Add(time.Minute))
	}
	return Span{}, false
}

// first is the first time from one on at which a reading is at its limit or above, or, if not above, below.
// Times between steps are rounded to the safe side by whole minutes: down where a limit is passed, up where
// the reading falls below it.
func (c course) first(from time.Time, r reading, above bool) (time.Time, bool) {
	met := func(t time.Time) bool { return (c.at(r, t) >= r.limit-1e-9) == above }
	from = later(from, c.hours[0].at)
	if met(from) {
		return from, true
	}
	for i, h := range c.hours {
		if !h.at.After(from) || !met(h.at) {
			continue
		}
		before := later(from, c.hours[i-1].at)
		a, b := c.at(r, before), r.of(h)
		t := before.Add(time.Duration((r.limit - a) / (b - a) * float64(h.at.Sub(before))))
		if above {
			return later(from, t.Truncate(time.Minute)), true
		}
		return earlier(h.at, t.Truncate(time.Minute).Add(time.Minute)), true
	}
	return time.Time{}, false
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}
