package calibration

import (
	"errors"
	"math"

	"rideout/service/physics/quantity"
)

// Prior is what is held of the factors before any outcome. Deviations are of natural logarithms, so
// that 0.1 is about 10 %. The zero value is refused; begin with DefaultPrior or PriorOf.
type Prior struct {
	WindageFleetSD   float64 // of the fleet's mean ln f about 0 (1e-3 to 3)
	WindageBetweenSD float64 // scale of the half-normal law of the deviation between vessels (1e-3 to 3)
	DragFleetSD      float64 // of the fleet's mean ln d about 0
	DragBetweenSD    float64 // of the deviation between canopies
	StatedWeight     float64 // how many observations the stated accuracies count for against the data (1 to 1e9)
	WildShare        float64 // expected share of wild observations (0 to 0.5; 0 takes every one as sound)
}

// Our choices, no source: accuracies stated by crews are trusted like four observations of their
// noise; one observation in twenty is wild; and that share is held like twenty observations of it.
const (
	statedWeight = 4
	wildShare    = 0.05
	wildWeight   = 20
)

// bandDeviations is how many standard deviations lie between the 5 % and the 95 % quantile of a
// normal law.
const bandDeviations = 2 * 1.6448536269514722

// DefaultPrior is the prior for windage estimated from the hull, whose band is 0.7 to 1.4, and a
// flat circular canopy in water, whose Cd0 is 0.60 to 0.85 about 0.75.
func DefaultPrior() Prior {
	return priorOf(quantity.Band{Low: 0.7, Mid: 1, High: 1.4}, quantity.Band{Low: 0.60, Mid: 0.75, High: 0.85})
}

// PriorOf makes a prior from the band of the wind force and that of the drag coefficient, each in any
// unit. Each band is read as a 90 % interval of the ratio of truth to plan for a vessel or a canopy
// not yet seen, centred on 1; one half of the variance is given to the fleet's mean and one half
// between its members. Both readings are our choice. Bands must be positive, with High/Low from
// 1.01 to 100.
func PriorOf(windage, drag quantity.Band) (Prior, error) {
	for _, c := range []struct {
		name string
		band quantity.Band
	}{{"windage", windage}, {"drag", drag}} {
		if err := quantity.Within("low end of the band of "+c.name, c.band.Low, math.SmallestNonzeroFloat64, math.MaxFloat64, ""); err != nil {
			return Prior{}, err
		}
		if err := quantity.Within("high over low of the band of "+c.name, c.band.High/c.band.Low, 1.01, 100, ""); err != nil {
			return Prior{}, err
		}
	}
	return priorOf(windage, drag), nil
}

func priorOf(windage, drag quantity.Band) Prior {
	half := func(b quantity.Band) float64 { return math.Log(b.High/b.Low) / bandDeviations * math.Sqrt2 / 2 }
	return Prior{
		WindageFleetSD: half(windage), WindageBetweenSD: half(windage),
		DragFleetSD: half(drag), DragBetweenSD: half(drag),
		StatedWeight: statedWeight, WildShare: wildShare,
	}
}

func (p Prior) check() error {
	return errors.Join(
		quantity.Within("prior deviation of the fleet's windage", p.WindageFleetSD, 1e-3, 3, ""),
		quantity.Within("prior deviation of windage between vessels", p.WindageBetweenSD, 1e-3, 3, ""),
		quantity.Within("prior deviation of the fleet's drag", p.DragFleetSD, 1e-3, 3, ""),
		quantity.Within("prior deviation of drag between canopies", p.DragBetweenSD, 1e-3, 3, ""),
		quantity.Within("weight of the stated accuracies", p.StatedWeight, 1, 1e9, "observations"),
		quantity.Within("share of wild observations", p.WildShare, 0, 0.5, ""),
	)
}
