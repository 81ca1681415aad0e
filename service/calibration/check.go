package calibration

import (
	"errors"
	"fmt"
	"math"

	"rideout/service/physics/quantity"
)

// ObservationError names an observation that cannot be used. Err is a *quantity.RangeError where a
// number is outside its range.
type ObservationError struct {
	Index int    // place in the list given
	ID    string // its own
	Err   error
}

func (e *ObservationError) Error() string {
	return fmt.Sprintf("observation %d (%q): %v", e.Index, e.ID, e.Err)
}

func (e *ObservationError) Unwrap() error { return e.Err }

// check returns every wrong observation at once, each as an *ObservationError.
func check(observations []Observation) error {
	if err := quantity.Within("number of observations", float64(len(observations)), 0, MaxObservations, ""); err != nil {
		return err
	}
	type name struct {
		kind Kind
		id   string
	}
	seen := make(map[name]int, len(observations))
	var wrong []error
	for i, o := range observations {
		err := o.check()
		if first, twice := seen[name{o.Kind, o.ID}]; err == nil && twice {
			err = fmt.Errorf("observation %d has the same id and kind: one measurement must not count twice", first)
		}
		seen[name{o.Kind, o.ID}] = i
		if err != nil {
			wrong = append(wrong, &ObservationError{Index: i, ID: o.ID, Err: err})
		}
	}
	return errors.Join(wrong...)
}

func (o Observation) check() error {
	low, high, unit := 1e-3, 20.0, "m/s"
	switch o.Kind {
	case Drift:
	case Load:
		low, high, unit = 1, 1e7, "N"
	default:
		return fmt.Errorf("its kind %q is neither %q nor %q", o.Kind, Drift, Load)
	}
	return errors.Join(
		named("id", o.ID), named("vessel", o.Vessel), named("canopy", o.Canopy),
		quantity.Within("predicted "+string(o.Kind), o.Predicted, low, high, unit),
		quantity.Within("observed "+string(o.Kind), o.Observed, low, high, unit),
		o.checkShare(),
	)
}

func named(what, name string) error {
	if name == "" {
		return errors.New("it has no " + what)
	}
	return nil
}

func (o Observation) checkShare() error {
	if o.Share == 0 {
		return nil
	}
	return quantity.Within("stated accuracy", o.Share, 0.005, 1, "")
}

// deviation is the stated deviation of the logarithm.
func (o Observation) deviation() float64 {
	if o.Share == 0 {
		return UnstatedShare
	}
	return o.Share
}

// logRatio is ln(observed/predicted).
func (o Observation) logRatio() float64 { return math.Log(o.Observed / o.Predicted) }
