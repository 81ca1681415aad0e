package drift_test

import (
	"reflect"
	"testing"

	"rideout/service/physics/drift"
	"rideout/service/physics/quantity"
)

// toward east at a known speed, in two spans.
func eastward(speedMS float64, mode int) []drift.Span {
	s := drift.Span{Hours: 20, Toward: quantity.Degrees(90), SpeedMS: quantity.Exactly(speedMS), Mode: mode}
	return []drift.Span{s, s}
}

func TestChangeJoinsAtTheHour(t *testing.T) {
	t.Parallel()
	bare, canopy := eastward(1, 0), eastward(0.25, 1)
	lengths := func(spans []drift.Span) (hours []float64, modes []int) {
		for _, s := range spans {
			hours, modes = append(hours, s.Hours), append(modes, s.Mode)
		}
		return hours, modes
	}
	for atH, want := range map[float64]struct {
		hours []float64
		modes []int
	}{
		0:  {[]float64{20, 20}, []int{1, 1}},
		7:  {[]float64{7, 13, 20}, []int{0, 1, 1}},
		20: {[]float64{20, 20}, []int{0, 1}},
		33: {[]float64{20, 13, 7}, []int{0, 0, 1}},
		40: {[]float64{20, 20}, []int{0, 0}},
	} {
		if hours, modes := lengths(drift.Change(bare, canopy, atH)); !reflect.DeepEqual(hours, want.hours) || !reflect.DeepEqual(modes, want.modes) {
			t.Errorf("change at %g h: %v h in modes %v, want %v in %v", atH, hours, modes, want.hours, want.modes)
		}
	}
}

// With known speeds the latest hour can be computed by hand: h at 1 m/s and 40 - h at 0.25 m/s come to the distance.
func TestLatestChangeByHand(t *testing.T) {
	t.Parallel()
	for distanceM, want := range map[float64]drift.Limit{
		60e3:  {When: drift.When{Hours: 8, Within: true}}, // (60 - 36)/2.7 = 8.9 h
		100e3: {When: drift.When{Hours: 23, Within: true}},
		35e3:  {Passed: true}, // 36 km at 0.25 m/s
		145e3: {},             // 144 km at 1 m/s
	} {
		c := drift.Case{Spans: eastward(1, 0), Particles: drift.MinParticles, Obstacles: eastOf(distanceM)}
		got, err := drift.LatestChange(c, eastward(0.25, 1), 0.05, 40)
		if err != nil || got != want {
			t.Errorf("shore at %g m: %+v (%v), want %+v", distanceM, got, err, want)
		}
	}
}

// Instants at which the case keeps positions, even beyond the last hour, change nothing.
func TestLatestChangeOfACaseWithInstants(t *testing.T) {
	t.Parallel()
	c := drift.Case{Spans: eastward(1, 0), Particles: drift.MinParticles, Obstacles: eastOf(60e3), AtH: []float64{39.5}}
	want := drift.Limit{When: drift.When{Hours: 12, Within: true}} // (60 - 27)/2.7 = 12.2 h
	if got, err := drift.LatestChange(c, eastward(0.25, 1), 0.05, 30); err != nil || got != want {
		t.Errorf("%+v (%v), want %+v", got, err, want)
	}
}

// With errors, the hour found keeps the probability and the next one does not.
func TestLatestChangeKeepsTheProbability(t *testing.T) {
	t.Parallel()
	bare, canopy := gale(), gale()
	for i := range bare {
		bare[i].SpeedMS = bare[i].SpeedMS.Scale(2.5)
		canopy[i].Mode = 1
	}
	c := galeCase()
	c.Spans, c.Obstacles = bare, eastOf(100e3)
	const p, byH = 0.1, 40.5
	got, err := drift.LatestChange(c, canopy, p, byH)
	if err != nil || !got.Within {
		t.Fatalf("%+v, %v", got, err)
	}
	ashore := func(atH float64) float64 {
		one := c
		one.Spans = drift.Change(bare, canopy, atH)
		return run(t, one).Ashore.By(byH).Mid
	}
	if before, after := ashore(got.Hours), ashore(got.Hours+1); before > p || after <= p {
		t.Errorf("changing at %g h %.4f are ashore, an hour later %.4f: %g must lie between", got.Hours, before, after, p)
	}
}

func TestLatestChangeRefuses(t *testing.T) {
	t.Parallel()
	good := drift.Case{Spans: eastward(1, 0), Particles: drift.MinParticles}
	short := eastward(0.25, 1)[:1]
	wrong := eastward(0.25, drift.Modes)
	few := good
	few.Particles = 1
	for name, call := range map[string]func() error{
		"probability above 1":   func() error { _, err := drift.LatestChange(good, good.Spans, 1.1, 30); return err },
		"after the forecast":    func() error { _, err := drift.LatestChange(good, good.Spans, 0.1, 41); return err },
		"after ends too early":  func() error { _, err := drift.LatestChange(good, short, 0.1, 30); return err },
		"a mode there is not":   func() error { _, err := drift.LatestChange(good, wrong, 0.1, 30); return err },
		"few particles":         func() error { _, err := drift.LatestChange(few, good.Spans, 0.1, 30); return err },
		"an hour of no time":    func() error { _, err := drift.LatestChange(good, good.Spans, 0.1, 0); return err },
		"spans of no case yet":  func() error { _, err := drift.LatestChange(drift.Case{}, good.Spans, 0.1, 10); return err },
		"nothing to change to":  func() error { _, err := drift.LatestChange(good, nil, 0.1, 10); return err },
		"probability no number": func() error { _, err := drift.LatestChange(good, good.Spans, -0.1, 10); return err },
	} {
		if call() == nil {
			t.Errorf("%s: taken", name)
		}
	}
}
