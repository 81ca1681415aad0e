package planner

import (
	"math"
	"time"

	"rideout/service/physics/quantity"
	"rideout/service/physics/seaway"
	"rideout/service/physics/wind"
)

// Estimates of weather, ours unless a source is named.
const (
	openSeaFetchM     = 500e3          // where nothing is known of the fetch
	blownBeforeS      = 12 * 3600.0    // how long the first wind is taken to have blown
	bridgedGap        = 6 * time.Hour  // gaps in the waves up to this are bridged between neighbours
	historyKept       = 72 * time.Hour // of wind, for wave growth
	periodPerRootHs   = 4.0            // Tp in s per root of Hs in m, for a steep wind sea
	flatBelowHsM      = 0.1            // a sea below is taken as flat
	shortestPeriodS   = 1.5
	loneStepHours     = 3.0 // how long a forecast of one step holds
	waveSourceGrowth  = "fetch- and duration-limited growth, CEM EM 1110-2-1100 II-2-36 to II-2-38, from the forecast's own wind, scaled by the nearest sea given, if any"
	waveSourceBridged = "between the neighbouring steps that have it"
)

// hour is one step of the forecast with nothing missing.
type hour struct {
	at            time.Time
	hours         float64 // it holds for
	windMS        float64
	gustMS        float64
	hsM, tpS      float64 // wind sea, or the whole sea
	swellHsM      float64
	swellTpS      float64
	depthM        float64 // +Inf: deep water
	windFrom      *quantity.Angle
	waveFrom      *quantity.Angle
	currentMS     float64
	currentToward *quantity.Angle
	estimated     []string
}

// totalHsM is the significant height of wind sea and swell together.
func (h hour) totalHsM() float64 { return math.Hypot(h.hsM, h.swellHsM) }

// peakS is the period of the partition that carries more of the sea.
func (h hour) peakS() float64 {
	if h.swellHsM > h.hsM {
		return h.swellTpS
	}
	return h.tpS
}

// resolveWeather fills the gaps of a forecast with stated estimates.
func resolveWeather(f Forecast, b *book) ([]hour, error) {
	hours := make([]hour, len(f.Steps))
	for i, s := range f.Steps {
		h := hour{
			at: s.Time, hours: holds(f.Steps, i), windMS: s.WindMS, depthM: math.Inf(1),
			windFrom: s.WindFrom, waveFrom: s.WaveFrom, currentToward: s.CurrentToward,
		}
		if s.DepthM != nil {
			h.depthM = *s.DepthM
		}
		if s.CurrentMS != nil {
			h.currentMS = *s.CurrentMS
		}
		if err := h.fillGust(s); err != nil {
			return nil, err
		}
		if err := h.fillWaves(f.Steps, i); err != nil {
			return nil, err
		}
		h.fillSwell(s)
		hours[i] = h
	}
	noteEstimates(hours, b)
	for _, n := range f.Notes {
		b.warn(n.Code, "%s", n.Message)
	}
	return hours, nil
}

func holds(steps []Step, i int) float64 {
	switch {
	case i+1 < len(steps):
		return steps[i+1].Time.Sub(steps[i].Time).Hours()
	case i > 0:
		return steps[i].Time.Sub(steps[i-1].Time).Hours()
	}
	return loneStepHours
}

func (h *hour) fillGust(s Step) error {
	if s.GustMS != nil {
		h.gustMS = *s.GustMS
		return nil
	}
	gust, err := wind.EstimateGust(s.WindMS)
	h.gustMS = gust.Mid
	h.estimated = append(h.estimated, "gust_kt")
	return err
}

func (h *hour) fillWaves(steps []Step, i int) error {
	s := steps[i]
	if s.HsM != nil {
		h.hsM = *s.HsM
	} else if bridged, ok := between(steps, i, func(s Step) *float64 { return s.HsM }); ok {
		h.hsM = bridged
		h.estimated = append(h.estimated, "significant_wave_height_m")
	} else {
		grown, err := seaway.GrowFromHistory(history(steps, i), openSeaFetchM)
		if err != nil {
			return err
		}
		h.hsM, h.tpS = grown.HsM, grown.TpS
		if err := h.heldToGiven(steps, i); err != nil {
			return err
		}
		h.estimated = append(h.estimated, "significant_wave_height_m")
	}
	switch {
	case s.TpS != nil:
		h.tpS = *s.TpS
	default:
		if bridged, ok := between(steps, i, func(s Step) *float64 { return s.TpS }); ok {
			h.tpS = bridged
		} else if h.tpS == 0 {
			h.tpS = periodPerRootHs * math.Sqrt(h.hsM)
		}
		h.estimated = append(h.estimated, "peak_period_s")
	}
	h.tpS = math.Max(h.tpS, shortestPeriodS)
	if limit, err := seaway.DepthLimitedHeight(h.tpS, h.depthM); err == nil && h.hsM > limit {
		h.hsM = limit // an estimate for deep water, in water too shallow for it
	}
	return nil
}

// heldToGiven scales a sea grown from the wind by what the nearest sea given is to the one grown for its time:
// the growth knows neither the fetch nor what ran before the forecast.
func (h *hour) heldToGiven(steps []Step, i int) error {
	near := -1
	for j, s := range steps {
		if s.HsM != nil && (near < 0 || apart(i, j) < apart(i, near)) {
			near = j
		}
	}
	if near < 0 {
		return nil
	}
	grown, err := seaway.GrowFromHistory(history(steps, near), openSeaFetchM)
	if err != nil || grown.HsM <= 0 {
		return err
	}
	h.hsM *= *steps[near].HsM / grown.HsM
	if tp := steps[near].TpS; tp != nil && grown.TpS > 0 {
		h.tpS *= *tp / grown.TpS
	}
	return nil
}

func (h *hour) fillSwell(s Step) {
	if s.SwellHsM == nil {
		return
	}
	h.swellHsM = *s.SwellHsM
	if s.SwellTpS != nil {
		h.swellTpS = *s.SwellTpS
		return
	}
	h.swellTpS = math.Max(12, h.tpS) // a swell without a period: a long one
	h.estimated = append(h.estimated, "swell_peak_period_s")
}

// between interpolates a missing value from the nearest steps that have it on both sides, if they
// are no farther apart than bridgedGap.
func between(steps []Step, i int, get func(Step) *float64) (float64, bool) {
	before, after := -1, -1
	for j := i - 1; j >= 0 && before < 0; j-- {
		if get(steps[j]) != nil {
			before = j
		}
	}
	for j := i + 1; j < len(steps) && after < 0; j++ {
		if get(steps[j]) != nil {
			after = j
		}
	}
	if before < 0 || after < 0 {
		return 0, false
	}
	span := steps[after].Time.Sub(steps[before].Time)
	if span > bridgedGap {
		return 0, false
	}
	w := float64(steps[i].Time.Sub(steps[before].Time)) / float64(span)
	return (1-w)**get(steps[before]) + w**get(steps[after]), true
}

// history is the wind that has blown by step i.
func history(steps []Step, i int) []seaway.WindSpell {
	spells := []seaway.WindSpell{{SpeedMS: steps[0].WindMS, DurationS: blownBeforeS}}
	from := steps[i].Time.Add(-historyKept)
	for j := 1; j <= i; j++ {
		if steps[j].Time.Before(from) {
			spells[0].SpeedMS = steps[j].WindMS
			continue
		}
		spells = append(spells, seaway.WindSpell{
			SpeedMS: (steps[j-1].WindMS + steps[j].WindMS) / 2, DurationS: steps[j].Time.Sub(steps[j-1].Time).Seconds(),
		})
	}
	return spells
}

// noteEstimates says once for each value what was filled in, how often and how.
func noteEstimates(hours []hour, b *book) {
	count := map[string]int{}
	for _, h := range hours {
		for _, name := range h.estimated {
			count[name]++
		}
	}
	n := len(hours)
	if k := count["gust_kt"]; k > 0 {
		g := wind.GustRatio()
		b.assume("gust over mean wind", g.Band, "", g.Source, plural(k, n)+" of the forecast gives no gust")
	}
	if k := count["significant_wave_height_m"]; k > 0 {
		b.assume("fetch", quantity.Exactly(openSeaFetchM/1000), "km", "our choice for the open sea; waves by "+waveSourceGrowth+", or "+waveSourceBridged, plural(k, n)+" of the forecast gives no waves")
		b.assume("time the first wind had blown", quantity.Exactly(blownBeforeS/3600), "h", "our choice", "waves are grown from the wind")
		b.warn("waves_estimated", "Waves were estimated for %s of the forecast. An estimate from wind knows nothing of swell, currents or shoals: get a wave forecast before relying on the loads.", plural(k, n))
	}
	if k := count["peak_period_s"]; k > 0 {
		b.assume("peak period per root of significant height", quantity.Exactly(periodPerRootHs), "s/m^0.5", "our choice for a steep wind sea; else "+waveSourceGrowth+", or "+waveSourceBridged, plural(k, n)+" of the forecast gives no peak period")
	}
	if k := count["swell_peak_period_s"]; k > 0 {
		b.assume("swell period", quantity.Exactly(12), "s", "our choice", plural(k, n)+" of the forecast gives a swell without a period")
	}
}
