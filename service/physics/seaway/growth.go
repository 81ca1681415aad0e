package seaway

import (
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// Limit names what a wind sea was held back by.
type Limit string

const (
	LimitedByFetch       Limit = "fetch"
	LimitedByDuration    Limit = "duration"
	LimitedByDevelopment Limit = "full_development"
	LimitedByFallenWind  Limit = "fallen_wind" // the sea is left from a stronger wind before
	LimitedByCalm        Limit = "calm"        // no wind, or no time or room for it
)

// Growth is a wind sea estimated from the wind. It is an estimate with a scatter of about a quarter
// in height, and answers that stand on it should say so.
type Growth struct {
	HsM       float64
	TpS       float64 // zero in a calm
	LimitedBy Limit
}

// WindSpell is a time of steady wind: the mean at 10 m in m/s, of an hour or so, and how long it blew.
type WindSpell struct {
	SpeedMS   float64
	DurationS float64
}

// maxWindMS is 120 kn. The drag law was fitted below about 35 m/s and is only carried on above,
// where measured drag levels off: seas there come out too high.
const maxWindMS = 120 * quantity.MetresPerNauticalMile / 3600

// The coefficients of CEM EM 1110-2-1100 part II-2, in X* = g X / u*^2, H* = g Hs / u*^2 and
// T* = g Tp / u*. II-2-37 and II-2-38 were read; II-2-36 is from memory.
const (
	growthHeight  = 4.13e-2 // II-2-36: H* = .0413 X*^(1/2)
	growthPeriod  = 0.751   // II-2-36: T* = .751 X*^(1/3)
	fullHeight    = 211.5   // II-2-37
	fullPeriod    = 239.8   // II-2-37
	durationFetch = 5.23e-3 // II-2-38: X* = 5.23e-3 t*^(3/2)
)

// Grow returns the deep-water wind sea raised by a steady wind: mean speed at 10 m in m/s (0 to 61.7),
// straight-line fetch in m and duration in s, both 0 and up, +Inf allowed. Height and period reach
// full development at different fetches in the source's equations; each is capped for itself.
//
// Source: CEM EM 1110-2-1100 (2003), eq. II-2-36 to II-2-38.
func Grow(windMS, fetchM, durationS float64) (Growth, error) {
	return GrowFromHistory([]WindSpell{{windMS, durationS}}, fetchM)
}

// GrowFromHistory returns the wind sea at the end of a succession of steady winds over one fetch in m,
// by equivalent durations: the sea present when a new wind sets in is taken for one this wind
// raised itself, from the time it would have needed for the same height, and grows on from there.
//
// The wind is taken to keep its direction. Where the sea present is higher than the new wind could
// sustain, it is kept as it is: no decay is modelled, so a day after the wind has fallen the
// answer is too high.
//
// Source: the working procedure for an increasing wind of WMO-No. 702 (1998), Guide to wave analysis
// and forecasting, sec. 4.3.2 and 4.3.4 (sections named there, method from memory), with the growth
// equations of CEM EM 1110-2-1100 eq. II-2-36 to II-2-38 in place of its diagram.
func GrowFromHistory(spells []WindSpell, fetchM float64) (Growth, error) {
	if err := quantity.Within("fetch", fetchM, 0, inf, "m"); err != nil {
		return Growth{}, err
	}
	sea := Growth{LimitedBy: LimitedByCalm}
	for _, spell := range spells {
		if err := quantity.Within("wind speed", spell.SpeedMS, 0, maxWindMS, "m/s"); err != nil {
			return Growth{}, err
		}
		if err := quantity.Within("wind duration", spell.DurationS, 0, inf, "s"); err != nil {
			return Growth{}, err
		}
		sea = growOn(sea, spell, fetchM)
	}
	return sea, nil
}

// growOn carries a sea through one spell of wind.
func growOn(sea Growth, spell WindSpell, fetchM float64) Growth {
	if spell.SpeedMS == 0 || spell.DurationS == 0 || fetchM == 0 {
		if sea.HsM > 0 && spell.DurationS > 0 {
			sea.LimitedBy = LimitedByFallenWind
		}
		return sea
	}
	g := constant.G
	u := frictionSpeed(spell.SpeedMS)
	fetch := g * fetchM / (u * u) // X*
	present := math.Pow(g*sea.HsM/(u*u)/growthHeight, 2)
	elapsed := math.Pow(present/durationFetch, 2.0/3) // t* of the equivalent duration
	run := durationFetch * math.Pow(elapsed+g*spell.DurationS/u, 1.5)

	X := math.Min(fetch, run)
	height := math.Min(growthHeight*math.Sqrt(X), fullHeight)
	period := math.Min(growthPeriod*math.Cbrt(X), fullPeriod)
	grown := Growth{HsM: height * u * u / g, TpS: period * u / g, LimitedBy: limitOf(fetch, run, height)}
	if grown.HsM < sea.HsM {
		sea.LimitedBy = LimitedByFallenWind
		return sea
	}
	return grown
}

func limitOf(fetch, run, height float64) Limit {
	switch {
	case height == fullHeight:
		return LimitedByDevelopment
	case fetch <= run:
		return LimitedByFetch
	default:
		return LimitedByDuration
	}
}

// frictionSpeed is u* in m/s for a mean wind U10 in m/s.
// Source: CEM EM 1110-2-1100 eq. II-2-36, C_D = .001 (1.1 + .035 U10), from memory.
func frictionSpeed(windMS float64) float64 {
	cd := 0.001 * (1.1 + 0.035*windMS)
	return math.Sqrt(cd) * windMS
}

// FetchLimitedSPM returns the fetch-limited deep-water sea by the older manual's curves, for
// comparison: wind in m/s (0 to 61.7), fetch in m (0 and up, +Inf allowed). The speed put in is used as
// it stands; the manual itself puts in the wind stress factor U_A = .71 U^1.23, but the textbook
// figures the checks hold this against come out with the plain wind speed alone.
//
// Source: Shore Protection Manual (1984), eq. 3-33 to 3-36 (numbers of the equations from memory).
func FetchLimitedSPM(windMS, fetchM float64) (Growth, error) {
	if err := quantity.Within("wind speed", windMS, 0, maxWindMS, "m/s"); err != nil {
		return Growth{}, err
	}
	if err := quantity.Within("fetch", fetchM, 0, inf, "m"); err != nil {
		return Growth{}, err
	}
	if windMS == 0 || fetchM == 0 {
		return Growth{LimitedBy: LimitedByCalm}, nil
	}
	const fullHeightSPM, fullPeriodSPM = 0.243, 8.13
	g, U := constant.G, windMS
	F := g * fetchM / (U * U) // F*
	height := math.Min(0.0016*math.Sqrt(F), fullHeightSPM)
	period := math.Min(0.286*math.Cbrt(F), fullPeriodSPM)
	sea := Growth{HsM: height * U * U / g, TpS: period * U / g, LimitedBy: LimitedByFetch}
	if height == fullHeightSPM {
		sea.LimitedBy = LimitedByDevelopment
	}
	return sea, nil
}
