package forecast_test

import (
	"reflect"
	"slices"
	"testing"
	"time"

	"rideout/service/forecast"
	"rideout/service/planner"
)

var start = time.Date(2031, 5, 1, 0, 50, 0, 0, time.UTC)

// hourly makes a forecast with a step at each hour after start, winds rising by the hour.
func hourly(hours ...int) planner.Forecast {
	f := planner.Forecast{Source: "invented", IssuedAt: start}
	for _, h := range hours {
		f.Steps = append(f.Steps, planner.Step{Time: start.Add(time.Duration(h) * time.Hour), WindMS: float64(h)})
	}
	return f
}

func hoursOf(f planner.Forecast) []int {
	var hours []int
	for _, s := range f.Steps {
		hours = append(hours, int(s.Time.Sub(start)/time.Hour))
	}
	return hours
}

func TestRuns(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		hours []int
		want  [][]int
	}{
		{"none", nil, nil},
		{"one step", []int{3}, [][]int{{3}}},
		{"a gap of just 24 h is none", []int{0, 24}, [][]int{{0, 24}}},
		{"longer gaps split", []int{0, 1, 26, 100, 101}, [][]int{{0, 1}, {26}, {100, 101}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			var got [][]int
			for _, run := range forecast.Runs(hourly(c.hours...), 24*time.Hour) {
				if run.Source != "invented" || !run.IssuedAt.Equal(start) {
					t.Errorf("the run lost where it is from: %+v", run)
				}
				got = append(got, hoursOf(run))
			}
			if !reflect.DeepEqual(got, c.want) {
				t.Errorf("runs %v, want %v", got, c.want)
			}
		})
	}
}

// Appending to one run must not write into the next.
func TestRunsDoNotShareRoom(t *testing.T) {
	t.Parallel()
	f := hourly(0, 1, 50, 51)
	runs := forecast.Runs(f, 24*time.Hour)
	runs[0].Steps = append(runs[0].Steps, planner.Step{})
	if got, want := hoursOf(runs[1]), []int{50, 51}; !slices.Equal(got, want) {
		t.Errorf("the second run became %v, want %v", got, want)
	}
}

func TestEvery(t *testing.T) {
	t.Parallel()
	f := hourly(0, 1, 2, 3, 4, 5, 6, 7, 20)
	hs := 9.0
	f.Steps[1].HsM = &hs // the high sea comes before the strong wind of hours 0..2
	f.Steps[3].WindMS, f.Steps[4].HsM = 30, &hs
	f.Steps[8].HsM = &hs
	if got, want := hoursOf(forecast.Every(f, 3*time.Hour)), []int{1, 2, 3, 4, 7, 20}; !slices.Equal(got, want) {
		t.Errorf("kept %v, want %v", got, want)
	}
	for _, same := range []planner.Forecast{forecast.Every(f, 0), forecast.Every(f, time.Hour)} {
		if !reflect.DeepEqual(same, f) {
			t.Errorf("kept %v, want all", hoursOf(same))
		}
	}
	if got := forecast.Every(planner.Forecast{}, time.Hour); len(got.Steps) != 0 {
		t.Errorf("steps from nothing: %v", got)
	}
}

// The highest sea is that of sea and swell together, or of a swell alone.
func TestEveryKeepsTheHighestSwell(t *testing.T) {
	t.Parallel()
	f := hourly(0, 1, 2, 3)
	f.Steps[0].WindMS = 30
	low, high := 2.0, 5.0
	f.Steps[1].HsM = &low
	f.Steps[2].HsM, f.Steps[2].SwellHsM = &low, &low
	if got, want := hoursOf(forecast.Every(f, 6*time.Hour)), []int{0, 2}; !slices.Equal(got, want) {
		t.Errorf("kept %v, want %v", got, want)
	}
	f.Steps[3].SwellHsM = &high
	if got, want := hoursOf(forecast.Every(f, 6*time.Hour)), []int{0, 3}; !slices.Equal(got, want) {
		t.Errorf("kept %v, want %v", got, want)
	}
}

// Thinning loses no peak: the strongest wind and highest sea of the record are those of the rest.
func TestEveryKeepsPeaks(t *testing.T) {
	t.Parallel()
	f, _, err := forecast.DecodeNDBC(record(t, "ndbc_44005_2012_jan_nov.txt"))
	if err != nil {
		t.Fatal(err)
	}
	peaks := func(f planner.Forecast) (windMS, hsM float64) {
		for _, s := range f.Steps {
			windMS = max(windMS, s.WindMS)
			if s.HsM != nil {
				hsM = max(hsM, *s.HsM)
			}
		}
		return windMS, hsM
	}
	windMS, hsM := peaks(f)
	for _, d := range []time.Duration{2 * time.Hour, 6 * time.Hour, 24 * time.Hour} {
		thin := forecast.Every(f, d)
		w, h := peaks(thin)
		if w != windMS || h != hsM {
			t.Errorf("every %v: peaks %g m/s and %g m, want %g and %g", d, w, h, windMS, hsM)
		}
		if len(thin.Steps) >= len(f.Steps) || !slices.IsSortedFunc(thin.Steps, func(a, b planner.Step) int { return a.Time.Compare(b.Time) }) {
			t.Errorf("every %v: %d steps of %d, or out of order", d, len(thin.Steps), len(f.Steps))
		}
	}
}
