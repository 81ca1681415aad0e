package seaway_test

import (
	"math"
	"testing"

	"rideout/service/physics/seaway"
)

const hour = 3600.0

func grow(t *testing.T, windMS, fetchM, durationS float64) seaway.Growth {
	t.Helper()
	sea, err := seaway.Grow(windMS, fetchM, durationS)
	if err != nil {
		t.Fatal(err)
	}
	return sea
}

func TestGrowthIsLimited(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		wind, fetch, duration float64
		by                    seaway.Limit
	}{
		{20, 50e3, inf, seaway.LimitedByFetch},
		{20, inf, 6 * hour, seaway.LimitedByDuration},
		{10, inf, 240 * hour, seaway.LimitedByDevelopment},
		{20, inf, inf, seaway.LimitedByDevelopment},
		{0, 50e3, hour, seaway.LimitedByCalm},
		{20, 0, hour, seaway.LimitedByCalm},
		{20, 50e3, 0, seaway.LimitedByCalm},
	} {
		got := grow(t, c.wind, c.fetch, c.duration)
		if got.LimitedBy != c.by {
			t.Errorf("wind %g, fetch %g, duration %g: limited by %s, want %s", c.wind, c.fetch, c.duration, got.LimitedBy, c.by)
		}
		if calm := got.HsM == 0; calm != (c.by == seaway.LimitedByCalm) {
			t.Errorf("wind %g, fetch %g, duration %g: Hs %g", c.wind, c.fetch, c.duration, got.HsM)
		}
	}
}

func TestGrowthNeverFallsWithMoreWindFetchOrTime(t *testing.T) {
	t.Parallel()
	winds, fetches, durations := []float64{3, 8, 15, 25, 40, 61}, []float64{1e3, 3e4, 3e5, inf}, []float64{hour, 6 * hour, 48 * hour, inf}
	for i, u := range winds {
		for j, x := range fetches {
			for k, d := range durations {
				here := grow(t, u, x, d)
				for _, less := range []seaway.Growth{
					grow(t, winds[max(0, i-1)], x, d), grow(t, u, fetches[max(0, j-1)], d), grow(t, u, x, durations[max(0, k-1)]),
				} {
					if less.HsM > here.HsM || less.TpS > here.TpS {
						t.Errorf("wind %g, fetch %g, duration %g: %+v is below %+v", u, x, d, here, less)
					}
				}
			}
		}
	}
}

// A steady wind told in pieces raises the same sea.
func TestHistoryOfOneWindIsThatWind(t *testing.T) {
	t.Parallel()
	for _, fetch := range []float64{20e3, 300e3, inf} {
		whole := grow(t, 18, fetch, 24*hour)
		pieces, err := seaway.GrowFromHistory([]seaway.WindSpell{{18, 5 * hour}, {18, 0}, {18, 12 * hour}, {18, 7 * hour}}, fetch)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(pieces.HsM-whole.HsM) > 1e-9 || math.Abs(pieces.TpS-whole.TpS) > 1e-9 || pieces.LimitedBy != whole.LimitedBy {
			t.Errorf("fetch %g: in pieces %+v, whole %+v", fetch, pieces, whole)
		}
	}
}

func TestRisingAndFallingWind(t *testing.T) {
	t.Parallel()
	history := func(spells ...seaway.WindSpell) seaway.Growth {
		sea, err := seaway.GrowFromHistory(spells, inf)
		if err != nil {
			t.Fatal(err)
		}
		return sea
	}
	rising := history(seaway.WindSpell{10, 12 * hour}, seaway.WindSpell{20, 12 * hour})
	if all, late := grow(t, 20, inf, 24*hour), grow(t, 20, inf, 12*hour); !(rising.HsM > late.HsM && rising.HsM < all.HsM) {
		t.Errorf("rising wind: Hs %g, want between %g and %g", rising.HsM, late.HsM, all.HsM)
	}
	gale := history(seaway.WindSpell{25, 24 * hour})
	for _, after := range []seaway.WindSpell{{8, 12 * hour}, {0, 6 * hour}} {
		left := history(seaway.WindSpell{25, 24 * hour}, after)
		if left.HsM != gale.HsM || left.TpS != gale.TpS || left.LimitedBy != seaway.LimitedByFallenWind {
			t.Errorf("after %+v: %+v, want the sea of the gale %+v kept and marked", after, left, gale)
		}
	}
	if none := history(); none.HsM != 0 || none.LimitedBy != seaway.LimitedByCalm {
		t.Errorf("no wind history: %+v, want a calm", none)
	}
}

func TestComparisonCurves(t *testing.T) {
	t.Parallel()
	full, err := seaway.FetchLimitedSPM(15, inf)
	if err != nil || full.LimitedBy != seaway.LimitedByDevelopment {
		t.Errorf("endless fetch: %+v, %v, want full development", full, err)
	}
	calm, err := seaway.FetchLimitedSPM(0, 1e5)
	if err != nil || calm.HsM != 0 {
		t.Errorf("no wind: %+v, %v, want a calm", calm, err)
	}
	// The two manuals' curves lie within a third of each other over the range of gales.
	for _, u := range []float64{15, 20, 25} {
		for _, x := range []float64{5e4, 2e5, 5e5} {
			cem := grow(t, u, x, inf)
			spm, err := seaway.FetchLimitedSPM(u, x)
			if err != nil || math.Abs(spm.HsM/cem.HsM-1) > 1.0/3 {
				t.Errorf("wind %g, fetch %g: SPM %g m, CEM %g m, %v", u, x, spm.HsM, cem.HsM, err)
			}
		}
	}
}

func TestGrowthRefuses(t *testing.T) {
	t.Parallel()
	refuse(t, "wind speed", one(seaway.Grow(-1, 1e5, hour)))
	refuse(t, "wind speed", one(seaway.Grow(70, 1e5, hour)))
	refuse(t, "fetch", one(seaway.Grow(10, -1, hour)))
	refuse(t, "wind duration", one(seaway.Grow(10, 1e5, math.NaN())))
	refuse(t, "wind speed", one(seaway.FetchLimitedSPM(math.NaN(), 1e5)))
	refuse(t, "fetch", one(seaway.FetchLimitedSPM(10, -1)))
}
