package forecast_test

import (
	"math"
	"reflect"
	"testing"

	"rideout/service/forecast"
	"rideout/service/physics/quantity"
	"rideout/service/planner"
)

// The documents are long: fuzz with -fuzzminimizetime 50x, or the time goes into shortening them.
func FuzzCoverageJSON(f *testing.F) {
	for _, name := range samples {
		f.Add(sample(f, name))
	}
	f.Add([]byte(`{"type": "Coverage", "domain": {"axes": {"t": {"values": []}}}, "parameters": {"wind_speed": {}}, "ranges": {}}`))
	f.Fuzz(func(t *testing.T, doc []byte) {
		got, notes, err := forecast.DecodeCoverageJSON(doc)
		again, _, errAgain := forecast.DecodeCoverageJSON(doc)
		if !reflect.DeepEqual(got, again) || !reflect.DeepEqual(err, errAgain) {
			t.Fatalf("two readings differ: %+v %v, %+v %v", got, err, again, errAgain)
		}
		if !(math.Abs(got.Position.LatitudeDeg) <= 90 && math.Abs(got.Position.LongitudeDeg) <= 180) {
			t.Errorf("position %+v", got.Position)
		}
		sound(t, got.Forecast, notes, err)
	})
}

func FuzzNDBC(f *testing.F) {
	for _, text := range sameHours {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		got, notes, err := forecast.DecodeNDBC(text)
		again, _, errAgain := forecast.DecodeNDBC(text)
		if !reflect.DeepEqual(got, again) || !reflect.DeepEqual(err, errAgain) {
			t.Fatalf("two readings differ: %+v %v, %+v %v", got, err, again, errAgain)
		}
		sound(t, got, notes, err)
	})
}

// sound holds what a decoder gives: problems and nothing else, or steps in time order whose numbers
// are finite and not negative and whose directions lie in [0, 2 pi).
func sound(t *testing.T, f planner.Forecast, notes []forecast.Note, err error) {
	t.Helper()
	if err != nil {
		pointersOf(t, err)
		if len(f.Steps) != 0 || notes != nil {
			t.Errorf("an error and a value: %+v %+v", f, notes)
		}
		return
	}
	if len(f.Steps) == 0 {
		t.Error("neither steps nor an error")
	}
	for i, s := range f.Steps {
		if i > 0 && !s.Time.After(f.Steps[i-1].Time) {
			t.Errorf("step %d at %s is not after %s", i, s.Time, f.Steps[i-1].Time)
		}
		for _, v := range []*float64{&s.WindMS, s.GustMS, s.HsM, s.TpS, s.SwellHsM, s.SwellTpS, s.CurrentMS, s.DepthM} {
			if v != nil && !(*v >= 0 && *v <= 12000) {
				t.Errorf("step %d has a value of %g: %+v", i, *v, s)
			}
		}
		for _, a := range []*quantity.Angle{s.WindFrom, s.WaveFrom, s.CurrentToward} {
			if a != nil && !(*a >= 0 && a.Radians() < 2*math.Pi) {
				t.Errorf("step %d has a direction of %g rad", i, a.Radians())
			}
		}
	}
}
