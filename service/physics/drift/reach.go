package drift

import (
	"math"
	"slices"

	"rideout/service/physics/quantity"
)

// When is an instant that may lie beyond the forecast. The zero value is not within it: nothing is then known
// of it but that, and Hours says nothing.
type When struct {
	Hours  float64 // from the start
	Within bool    // the forecast
}

// Arrival is the time to the first shore or hazard, counted over all particles: the hours by which 5, 50 and
// 95 % of them have reached it, each not within the forecast where fewer have.
type Arrival struct{ Low, Mid, High When }

// Reach is when, and with what probability, she reaches something: an obstacle, or the first of all. The zero
// value is nothing reached.
type Reach struct {
	TimesH    []float64 // of the particles that reached it, rising
	Particles int       // all of them
	ForecastH float64   // length of the forecast
}

func reachOf(timesH []float64, particles int, forecastH float64) Reach {
	slices.Sort(timesH)
	return Reach{timesH, particles, forecastH}
}

// Probability returns how likely it is reached within the forecast: By its end.
func (r Reach) Probability() quantity.Band { return r.By(r.ForecastH) }

// By returns how likely it is reached within so many hours. Mid is the share of the particles; Low and High are
// the bounds that their number leaves with 95 % confidence, no more: with none of 2,000 ashore, High is 0.2 %. How good
// forecast and spread are is not in them. Without particles nothing is known: {0, 0, 1}.
//
// Source: Wilson (1927), J. Am. Stat. Assoc. 22, 209-212.
func (r Reach) By(atH float64) quantity.Band {
	if r.Particles == 0 {
		return quantity.Band{High: 1}
	}
	const z = 1.959963984540054 // 97.5 % point of the standard normal
	n := float64(r.Particles)
	reached, _ := slices.BinarySearch(r.TimesH, math.Nextafter(atH, math.Inf(1)))
	p := float64(reached) / n
	centre := (p + z*z/(2*n)) / (1 + z*z/n)
	half := z / (1 + z*z/n) * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	return quantity.BandOf(math.Max(0, centre-half), p, math.Min(1, centre+half))
}

// Passes returns the first instant at which more than a share p of all particles have reached it. A share below 0 or
// of 1 and more is never passed.
func (r Reach) Passes(p float64) When {
	if !(p >= 0 && p < 1) {
		return When{}
	}
	k := int(p*float64(r.Particles) + 1e-9)
	if k >= len(r.TimesH) {
		return When{}
	}
	return When{r.TimesH[k], true}
}

// Arrival returns the time to reach it, over all particles.
func (r Reach) Arrival() Arrival { return Arrival{r.Passes(0.05), r.Passes(0.5), r.Passes(0.95)} }

// Given returns the hours by which a share p (0 to 1) of those that reach it within the forecast have done so; it is
// not within the forecast if none has. Late arrivals are missing, as the forecast ends: for the time itself see Arrival.
func (r Reach) Given(p float64) When {
	n := len(r.TimesH)
	if n == 0 || !(p >= 0 && p <= 1) {
		return When{}
	}
	k := int(math.Ceil(p*float64(n)-1e-9)) - 1
	return When{r.TimesH[min(max(k, 0), n-1)], true}
}

// Limit is the latest instant for something to be done. Neither Within nor Passed: the forecast shows no limit.
type Limit struct {
	When
	Passed bool // even at the start it is too late; the instant is then not Within
}

// NotLaterThan returns the latest instant at which the probability of reaching it within the next marginH hours, or
// having done so before, is still at most p. marginH is the time that help, or whatever is to be done, takes.
func (r Reach) NotLaterThan(p, marginH float64) Limit {
	passes := r.Passes(p)
	if !passes.Within {
		return Limit{}
	}
	if passes.Hours < marginH {
		return Limit{Passed: true}
	}
	return Limit{When: When{passes.Hours - marginH, true}}
}
