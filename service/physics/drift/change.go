package drift

import (
	"math"

	"rideout/service/physics/quantity"
)

// Change returns the spans of a vessel that drifts as in before until so many hours after the start, and as in
// after from then on: under bare poles first, say, and to a canopy later. Both lists begin at the start of the case.
// What before lacks up to that hour is missing.
func Change(before, after []Span, atH float64) []Span {
	return append(cut(before, 0, atH), cut(after, atH, math.Inf(1))...)
}

// cut returns what of the spans lies between two instants.
func cut(spans []Span, fromH, toH float64) []Span {
	var kept []Span
	at := 0.0
	for _, s := range spans {
		begin, end := math.Max(at, fromH), math.Min(at+s.Hours, toH)
		at += s.Hours
		if end-begin > sameH {
			s.Hours = end - begin
			kept = append(kept, s)
		}
	}
	return kept
}

// LatestChange returns the last full hour at which she may change from the spans of the case to those of after, so
// that the probability of having reached an obstacle by byH hours after the start is at most p (0 to 1). Both lists
// must reach to byH. The forecast shows no limit where p is kept without any change before byH.
//
// The same errors are drawn for every hour tried, so that they differ by the change alone. Limits: the hours are
// searched by halving, as if a later change were never the safer one; the number of particles leaves the
// probability uncertain as said at Reach.By. Over 72 h it is about 8 times the work of Run.
func LatestChange(c Case, after []Span, p, byH float64) (Limit, error) {
	if err := quantity.Within("probability", p, 0, 1, ""); err != nil {
		return Limit{}, err
	}
	if err := quantity.Within("last hour", byH, 1, math.Min(hours(c.Spans), hours(after)), "h"); err != nil {
		return Limit{}, err
	}
	if err := checkSpans(after); err != nil {
		return Limit{}, err
	}
	before := c.Spans
	c.AtH = nil // only whether she is ashore counts, and what was asked for may lie beyond byH
	tooLate := func(atH float64) (bool, error) {
		c.Spans = cut(Change(before, after, atH), 0, byH)
		e, err := Run(c)
		return e.Ashore.By(byH).Mid > p, err
	}
	late, err := tooLate(byH)
	if err != nil || !late {
		return Limit{}, err
	}
	late, err = tooLate(0)
	if err != nil || late {
		return Limit{Passed: late}, err
	}
	inTime, past := 0, int(math.Ceil(byH))
	for past-inTime > 1 {
		middle := (inTime + past) / 2
		late, err := tooLate(float64(middle))
		if err != nil {
			return Limit{}, err
		}
		if late {
			past = middle
		} else {
			inTime = middle
		}
	}
	return Limit{When: When{float64(inTime), true}}, nil
}
