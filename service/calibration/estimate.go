package calibration

import "rideout/service/physics/quantity"

// Factor is what the plan's figure is to be multiplied by. Low, Mid and High are its 5, 50 and 95 %
// quantiles, so that Low to High holds the truth with a probability of 90 %.
type Factor struct {
	Low, Mid, High float64
	LogSD          float64 // standard deviation of its logarithm, about its relative spread
	Observations   int     // that bear on it
	// ShrunkToFleet is what the observations leave of the variance of a member not seen (for the fleet's
	// own factors, of the prior's): 1 where they say nothing and the fleet speaks for the member, near
	// 0 where its own observations do.
	ShrunkToFleet float64
}

// FactorPair is a factor on wind force, one on canopy drag, and what both make of a drift,
// sqrt(windage/drag), which is known better than either where no loads were observed.
type FactorPair struct {
	Windage, Drag, Drift Factor
}

// Vessel is what was learned of a vessel.
type Vessel struct {
	Name    string
	Windage Factor
	Note    string // in words, how far to rely on it; empty where there is nothing to say
}

// Canopy is what was learned of a canopy.
type Canopy struct {
	Name string
	Drag Factor
	Note string
}

// Pair is what was learned of the drift of a vessel with a canopy she lay to.
type Pair struct {
	Vessel, Canopy string
	Drift          Factor
}

// Outlier is an observation more likely wild than sound. It was kept, and counts by its weight.
type Outlier struct {
	ID       string
	Kind     Kind
	Residual float64 // of its logarithm, in units of its noise
	Weight   float64 // beside a sound one, 0 to 1
	Text     string
}

// Result is what the outcomes teach. Lists are sorted by name.
type Result struct {
	Fleet    FactorPair // the middle of the fleet
	Unseen   FactorPair // a vessel and a canopy without outcomes: the middle and the spread about it
	Vessels  []Vessel
	Canopies []Canopy
	Pairs    []Pair

	BetweenVessels, BetweenCanopies quantity.Band // deviation of ln f and of ln d; 5, 50, 95 %
	DriftNoise, LoadNoise           quantity.Band // factor on the stated accuracies; 5, 50, 95 %

	Outliers []Outlier
	Notes    []string // what these observations cannot tell
	N        int      // observations used: all that were given
}

// Estimate learns the factors of a fleet from its observations. Any number from none to
// MaxObservations: with none it returns the prior and says so. The order is of no account. The error
// joins an *ObservationError for each observation that cannot be used, or says which part of the
// prior is out of range.
//
// Time grows with the observations; 1,000 of 100 vessels and 30 canopies take less than a second. It also
// grows with the cube of vessels or canopies, whichever are fewer, that are mixed with each other
// throughout.
func Estimate(observations []Observation, prior Prior) (Result, error) {
	if err := prior.check(); err != nil {
		return Result{}, err
	}
	if err := check(observations); err != nil {
		return Result{}, err
	}
	f := arrange(observations)
	return f.result(newChain(f, prior).run(), prior), nil
}
