package figure

import (
	"math"
	"time"

	"rideout/api/page/drawing"
)

// axis maps values between two ends onto paper.
type axis struct {
	least, most float64
	from, to    float64 // mm
}

func (a axis) at(v float64) float64 {
	if a.most == a.least {
		return a.from
	}
	return a.from + (v-a.least)/(a.most-a.least)*(a.to-a.from)
}

// ticks gives round values, about as many as wanted.
func (a axis) ticks(wanted int) []float64 {
	step := roundStep((a.most - a.least) / float64(wanted))
	var list []float64
	for v := math.Ceil(a.least/step-1e-9) * step; v <= a.most+1e-9*step; v += step {
		list = append(list, v)
	}
	return list
}

// roundStep is the least of 1, 2, 5 times a power of ten that is no less.
func roundStep(v float64) float64 {
	if v <= 0 {
		return 1
	}
	power := math.Pow(10, math.Floor(math.Log10(v)))
	for _, f := range []float64{1, 2, 5} {
		if f*power >= v*(1-1e-9) {
			return f * power
		}
	}
	return 10 * power
}

// upTo is the axis from zero to a round value above all given.
func upTo(most float64, from, to float64) axis {
	step := roundStep(most / 4)
	return axis{0, math.Max(step, math.Ceil(most/step)*step), from, to}
}

// clock maps instants onto paper.
type clock struct {
	axis
	begin time.Time
}

func clockOf(begin, end time.Time, from, to float64) clock {
	return clock{axis{0, math.Max(1, end.Sub(begin).Hours()), from, to}, begin}
}

func (c clock) when(t time.Time) float64 {
	return math.Min(math.Max(c.at(t.Sub(c.begin).Hours()), c.from), c.to)
}

// marks gives the round hours of UTC on the paper, at least so many mm apart.
func (c clock) marks(apart float64) []time.Time {
	step := 1 * time.Hour
	for _, h := range []int{1, 2, 3, 6, 12, 24, 48} {
		step = time.Duration(h) * time.Hour
		if (c.to-c.from)*float64(h)/(c.most-c.least) >= apart {
			break
		}
	}
	var list []time.Time
	end := c.begin.Add(time.Duration(c.most * float64(time.Hour)))
	for t := c.begin.Truncate(step); !t.After(end); t = t.Add(step) {
		if !t.Before(c.begin) {
			list = append(list, t)
		}
	}
	return list
}

// curve maps pairs of values onto paper.
func curve(x, y axis, pairs [][2]float64) []drawing.Point {
	points := make([]drawing.Point, len(pairs))
	for i, p := range pairs {
		points[i] = drawing.Point{X: x.at(p[0]), Y: y.at(math.Min(p[1], y.most))}
	}
	return points
}
