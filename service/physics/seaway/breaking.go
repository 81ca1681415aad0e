package seaway

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"

	"rideout/service/physics/quantity"
)

// Lying is how a vessel lies to the seas.
type Lying string

const (
	BowTo  Lying = "bow_to"
	BeamOn Lying = "beam_on"
)

// The breaking wave heights, as shares of the length overall, at which tank models lying beam-on were
// rolled over.
// Source: tank work after a yacht race disaster in 1979, second-hand, as quoted in print.
const (
	CapsizesSome = 0.30 // some hulls
	CapsizesAll  = 0.60 // every hull that was tested
)

// Hazard sets the breaking waves to be expected in a duration against a vessel's length. It is a
// measure for comparing seas and vessels. It promises no safety: waves break lower than the limit
// used here, and a low probability is not a small consequence.
type Hazard struct {
	Lying Lying
	// FiguresApply tells whether the tank figures were found for this way of lying. They were for
	// beam-on alone. Bow-to the same heights only mark waves as large against the vessel; what
	// threatens her then (pitch-poling, being driven astern, gear giving way) has no such figures.
	FiguresApply bool

	SomeHeightM    float64 // 30 % of length overall
	AllHeightM     float64 // 60 %
	SomeLikelihood float64 // probability of at least one breaking wave so high or higher in the duration
	AllLikelihood  float64
	SomeWaves      float64 // expected number of waves so high, breaking or not: the upper figure beside it
	AllWaves       float64

	MostProbableBreakingM float64 // height one breaking wave in the duration exceeds on average; 0: none is expected
	Breaking90M           float64 // height no breaking wave exceeds with 90 % probability; 0: likely none breaks

	MostProbableHighestM float64 // of all waves, breaking or not (Rayleigh)
	Highest90M           float64
}

// BreakingHazard returns the hazard of breaking waves to a vessel of length overall in m (1 to 100) in
// a sea that lasts for a duration in s (60 and up), 3 h as a rule, lying in the way given. Deep water;
// the vessel is taken to stay in one place. Breaking waves come rarely and so are counted as
// independent (Poisson). Limits of the count itself: see BreakingShare.
func BreakingHazard(s Spectrum, loaM, durationS float64, lying Lying) (Hazard, error) {
	if err := quantity.Within("length overall", loaM, 1, 100, "m"); err != nil {
		return Hazard{}, err
	}
	if err := quantity.Within("duration", durationS, 60, 1e9, "s"); err != nil {
		return Hazard{}, err
	}
	h := Hazard{
		Lying:        lying,
		FiguresApply: lying == BeamOn,
		SomeHeightM:  CapsizesSome * loaM,
		AllHeightM:   CapsizesAll * loaM,
	}
	if s.Moment(0) == 0 {
		return h, nil
	}
	b, err := breakersOf(s)
	if err != nil {
		return Hazard{}, err
	}
	waves := math.Max(1, durationS/s.ZeroCrossingPeriodTz())
	h.SomeLikelihood = -math.Expm1(-waves * b.share(h.SomeHeightM))
	h.AllLikelihood = -math.Expm1(-waves * b.share(h.AllHeightM))
	h.MostProbableBreakingM = b.heightOf(1 / waves)
	h.Breaking90M = b.heightOf(-math.Log(0.9) / waves)
	h.SomeWaves = waves * Rayleigh.exceedance(h.SomeHeightM, b.hsM)
	h.AllWaves = waves * Rayleigh.exceedance(h.AllHeightM, b.hsM)
	h.MostProbableHighestM = Rayleigh.exceededBy(1/waves, b.hsM)
	h.Highest90M = Rayleigh.exceededBy(-math.Expm1(math.Log(0.9)/waves), b.hsM)
	return h, nil
}

// smallestBreaker, in significant heights, is where counting begins. The narrow-band distribution
// makes every very small wave short and so steep, which the sea does not; our own choice.
const smallestBreaker = 0.5

// BreakingShare returns the share of all waves that are both higher than a height in m (0 and up; below
// half the significant height it counts from there) and steeper than Miche's limit in deep water, by the
// joint distribution of height and period of linear waves with a narrow spectrum. The spectral width it
// rests on depends on where the spectrum is cut (use CustomaryCut), and waves at sea are seen to break
// below Miche's limit: take the answer as a lower figure, for its order of magnitude and for comparing seas.
//
// Source: Longuet-Higgins (1983), On the joint distribution of wave periods and amplitudes in a random
// wave field, Proc. R. Soc. A 389, eq. 2.16 (from memory), integrated over the periods too short for
// the height by Miche (1944).
func BreakingShare(s Spectrum, aboveM float64) (float64, error) {
	if err := quantity.Within("wave height", aboveM, 0, inf, "m"); err != nil {
		return 0, err
	}
	if s.Moment(0) == 0 {
		return 0, nil
	}
	b, err := breakersOf(s)
	if err != nil {
		return 0, err
	}
	return b.share(aboveM), nil
}

// breakers is what the joint distribution of heights and periods needs to know of a sea.
type breakers struct {
	hsM, t1S, width float64
}

func breakersOf(s Spectrum) (breakers, error) {
	b := breakers{hsM: s.SignificantHeight(), t1S: s.MeanPeriodT1(), width: s.Width()}
	if err := quantity.Within("significant wave height", b.hsM, 0, maxSignificantM, "m"); err != nil {
		return breakers{}, err
	}
	return b, quantity.Within("spectral width", b.width, 0.01, 1, "")
}

// share integrates the joint density. With R the height over sqrt(8 m0), tau the period over T1 and
// nu the width it is
//
//	p(R, tau) = L 2/sqrt(pi) R^2/(nu tau^2) exp(-R^2 [1 + (1 - 1/tau)^2 / nu^2])
//
// and the integral over tau from 0 to its limit is L R exp(-R^2) erfc(R (1/tau - 1)/nu).
func (b breakers) share(aboveM float64) float64 {
	const farthest = 6.0 // exp(-36) is left beyond
	nu := b.width
	L := 2 / (1 + 1/math.Sqrt(1+nu*nu))
	from := math.Max(aboveM/b.hsM, smallestBreaker) * significantFactor
	if from >= farthest {
		return 0
	}
	density := func(R float64) float64 {
		limit := deepBreakingPeriod(R*b.hsM/significantFactor) / b.t1S
		return L * R * math.Exp(-R*R) * math.Erfc(R*(1/limit-1)/nu)
	}
	return quad.Fixed(density, from, farthest, 96, nil, 0)
}

// heightOf is the height exceeded by the given share of all waves while breaking, by bisection; zero
// where fewer break at all.
func (b breakers) heightOf(share float64) float64 {
	if b.share(0) < share {
		return 0
	}
	low, high := smallestBreaker*b.hsM, 5*b.hsM
	for range 50 {
		mid := (low + high) / 2
		if b.share(mid) >= share {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}
