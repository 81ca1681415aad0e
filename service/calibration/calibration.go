// Package calibration learns from outcomes. From pairs of what a plan predicted and what was then
// measured it estimates, for an organisation's fleet, a factor on the wind force of each vessel and
// a factor on the drag of each canopy, each with its spread.
//
// # The physics of the link
//
// A vessel that lies steadily to her canopy drifts through the water at the speed v at which
//
//	f F = 1/2 rho d Cd0 S0 v^2
//
// with F the wind force the plan computed, f the windage factor and d the drag factor. The plan is
// the case f = d = 1, so
//
//	observed/predicted drift      = sqrt(f/d)    ln r_drift = (ln f - ln d)/2 + noise
//	observed/predicted mean load  = f            ln r_load  =  ln f           + noise
//
// The drag of the hull is left out, which for a canopy of the usual size is a few hundredths of
// the balance. Whatever else the plan counts as steady push, such as the mean wave drift, is scaled
// with the wind. Drift is through the water: a current must have been taken off. Load is the mean;
// a peak depends on sea and rode and says little of f.
//
// Drift alone tells f/d and neither f nor d; a load tells f. Where loads are missing the intervals
// of f and d stay as wide as the prior leaves them, and that of sqrt(f/d), which Result gives for
// each vessel with each canopy she lay to, is narrow all the same.
//
// # The statistics
//
// ln f of a vessel is normal about the fleet's mean with a deviation between vessels, ln d of a
// canopy likewise; means and deviations are estimated too. So what little is known of one vessel is
// filled up from the fleet, by the share ShrunkToFleet. The noise is the observer's stated accuracy
// times a factor for each kind, estimated. An observation is sound, or with a small probability
// wild, and then says next to nothing (Box and Tiao 1968, Biometrika 55, 119-129, in a fleet instead
// of one sample). Student's t, the common choice, was not taken: with 4 degrees of freedom and
// normal noise its estimates have 1.12 times the variance they claim.
//
// All unknowns are integrated over by Gibbs sampling with a fixed seed, so that intervals hold the
// uncertainty of the deviations and of the noise as well. The same observations in any order give the
// same bits. The finite number of draws leaves Mid uncertain by up to 0.02 of LogSD and the ends of
// an interval by up to 0.05; more where an observation may as well be wild as not.
//
// # How well
//
// One vessel and one canopy, 20 outcomes with a drift and a load each, noise 10 %: without other
// knowledge no estimate can have a standard error below 10 %/sqrt(20) = 2.2 % for f and for
// sqrt(f/d), nor below sqrt((2 x 10 %)^2 + (10 %)^2)/sqrt(20) = 5 % for d. So f and sqrt(f/d) can be
// had within 3 % and d cannot; d needs some 60 outcomes, as of three vessels that share the canopy.
// The tests reach, as root mean square over invented fleets, 2.0 % for f, 2.2 % for sqrt(f/d) and
// 4.7 % for d, and 2.6 % for d of three vessels' canopy. A root mean square of 2 % leaves one fleet in
// seven more than 3 % off.
//
// The intervals of 90 % hold 89 to 92 % of the truths where the noise is as stated, wild observations
// or not. Where it is twice what was stated they held 83 to 88 %, where half, 95 to 98 % (three
// vessels, two to six outcomes each).
//
// # Limits
//
// The noise of two observations is taken as independent. An error of the wind that a drift and a
// load of the same hours share is not; it widens the interval of d more than it should.
//
// A vessel's only observation, when it is between about 2.5 and 4 times the plan, may be a wild one or
// her nature; Mid then lies between and the interval spans both.
package calibration

// Kind is what was observed.
type Kind string

// The kinds. Drift is the speed through the water in m/s, Load the mean load on the rode in N.
const (
	Drift Kind = "drift"
	Load  Kind = "load"
)

// Observation is what a plan predicted for the hours in which something was measured, and what was
// measured.
type Observation struct {
	ID        string // unique among the observations of its kind
	Vessel    string
	Canopy    string // shape and size, or one item of gear: whatever is thought to have one drag factor
	Kind      Kind
	Predicted float64 // m/s (1e-3 to 20) or N (1 to 1e7)
	Observed  float64 // likewise
	Share     float64 // stated accuracy, one standard deviation of the logarithm (0.005 to 1); 0 is UnstatedShare
}

// UnstatedShare is the accuracy taken where none is stated. Our choice, no source.
const UnstatedShare = 0.15

// MaxObservations is the most that Estimate takes: some seconds, and 600 MB where every one is of a
// vessel and a canopy of its own.
const MaxObservations = 5000
