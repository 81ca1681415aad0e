package seaway_test

import (
	"math"
	"slices"
	"testing"

	"rideout/service/physics/seaway"
)

// threeHours is the grid of a 3 h realisation, cut where spectra are cut.
var threeHours = seaway.Grid{StepRadS: 2 * math.Pi / 10800, Count: 8192, CutAtPeaks: seaway.CustomaryCut}

func sea(t *testing.T, hsM, tpS float64) seaway.Spectrum {
	t.Helper()
	s, err := seaway.JONSWAP(hsM, tpS, seaway.Gamma(hsM, tpS), threeHours)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestVarianceIsExactOnEveryGrid(t *testing.T) {
	t.Parallel()
	for _, grid := range []seaway.Grid{threeHours, {0.01, 400, 0}, {0.01, 400, 5}, {0.003, 1000, 2}, {0.05, 40, 0}} {
		for _, gamma := range []float64{1, 3.3, 7} {
			s, err := seaway.JONSWAP(6, 10, gamma, grid)
			if err != nil {
				t.Fatal(err)
			}
			if m0 := s.Moment(0); math.Abs(m0/(36.0/16)-1) > 1e-13 {
				t.Errorf("grid %+v, gamma %g: m0 = %.17g, want 2.25", grid, gamma, m0)
			}
			if hs := s.SignificantHeight(); math.Abs(hs-6) > 1e-12 {
				t.Errorf("grid %+v, gamma %g: Hs = %.17g, want 6", grid, gamma, hs)
			}
		}
	}
}

func TestGamma(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ hs, tp, want float64 }{
		{9, 10.7, 5},
		{9, 15, 1},
		{9, 20, 1},
		{0, 10, 1},
		{-1, 10, 1},
		{1, math.NaN(), 1},
		{4, 2 * 4.999999, 1},
		{1, 4.5, math.Exp(5.75 - 1.15*4.5)},
	} {
		if got := seaway.Gamma(c.hs, c.tp); math.Abs(got-c.want) > 1e-5 {
			t.Errorf("Gamma(%g, %g) = %g, want %g", c.hs, c.tp, got, c.want)
		}
	}
	last := 6.0
	for tp := 2.0; tp < 14; tp += 0.1 {
		now := seaway.Gamma(4, tp)
		// the source's curve leaves 5 at 5.003
		if now > last+0.004 || now < 1 || now > 5.004 {
			t.Errorf("Gamma(4, %g) = %g after %g: not falling from 5 to 1", tp, now, last)
		}
		last = now
	}
}

func TestSpectrumShape(t *testing.T) {
	t.Parallel()
	s := sea(t, 6, 10)
	if tp := s.PeakPeriod(); math.Abs(tp-10) > 0.01 {
		t.Errorf("peak period %g s, want 10 s", tp)
	}
	cut := 2 * math.Pi / 10 * 5
	if above := s.At(cut + 0.01); above != 0 {
		t.Errorf("density above the cut %g, want 0", above)
	}
	if below := s.At(cut - 0.01); !(below > 0) {
		t.Errorf("density below the cut %g, want some", below)
	}
	te, t1, tz := s.EnergyPeriodTe(), s.MeanPeriodT1(), s.ZeroCrossingPeriodTz()
	if !(10 > te && te > t1 && t1 > tz && tz > 5) {
		t.Errorf("want Tp 10 > Te %g > T1 %g > Tz %g", te, t1, tz)
	}
}

// Froude scaling: twice the period and four times the height is the same sea enlarged.
func TestSpectrumScales(t *testing.T) {
	t.Parallel()
	small, err1 := seaway.JONSWAP(1, 5, 2, seaway.Grid{StepRadS: 0.01, Count: 1000})
	large, err2 := seaway.JONSWAP(4, 10, 2, seaway.Grid{StepRadS: 0.005, Count: 1000})
	if err1 != nil || err2 != nil {
		t.Fatal(err1, err2)
	}
	for i, d := range small.DensityM2S {
		if want := 32 * d; math.Abs(large.DensityM2S[i]-want) > 1e-12*want {
			t.Fatalf("entry %d: %g, want %g", i, large.DensityM2S[i], want)
		}
	}
	if a, b := small.Width(), large.Width(); math.Abs(a-b) > 1e-12 {
		t.Errorf("widths %g and %g of similar seas differ", a, b)
	}
}

func TestPartitionsAddAsVariances(t *testing.T) {
	t.Parallel()
	wind, swell := sea(t, 3, 7), sea(t, 4, 13)
	both, err := seaway.Add(wind, swell)
	if err != nil {
		t.Fatal(err)
	}
	if hs := both.SignificantHeight(); math.Abs(hs-5) > 1e-12 {
		t.Errorf("3 m and 4 m make %g m, want 5 m", hs)
	}
	if tp := both.PeakPeriod(); math.Abs(tp-13) > 0.05 {
		t.Errorf("peak period %g s, want that of the swell, 13 s", tp)
	}
	other, err := seaway.Add(swell, wind)
	if err != nil {
		t.Fatal(err)
	}
	for i := range both.DensityM2S {
		if both.DensityM2S[i] != other.DensityM2S[i] {
			t.Fatalf("entry %d depends on the order", i)
		}
	}
	for _, pair := range [][2]seaway.Spectrum{{wind, {}}, {{}, wind}} {
		alone, err := seaway.Add(pair[0], pair[1])
		if err != nil || alone.SignificantHeight() != wind.SignificantHeight() {
			t.Errorf("a sea and a calm: Hs %g, %v, want %g", alone.SignificantHeight(), err, wind.SignificantHeight())
		}
	}
}

// A swell may stand on a shorter grid, for its frequencies end sooner.
func TestPartitionsOfUnequalLength(t *testing.T) {
	t.Parallel()
	long := seaway.Spectrum{StepRadS: 0.1, DensityM2S: []float64{0, 1, 2, 3}}
	short := seaway.Spectrum{StepRadS: 0.1, DensityM2S: []float64{0, 5}}
	sum, err := seaway.Add(short, long)
	if want := []float64{0, 6, 2, 3}; err != nil || !slices.Equal(sum.DensityM2S, want) {
		t.Errorf("got %v, %v, want %v", sum.DensityM2S, err, want)
	}
	if long.DensityM2S[1] != 1 {
		t.Error("adding changed a partition")
	}
}

func TestIntegrals(t *testing.T) {
	t.Parallel()
	s := sea(t, 6, 10)
	if got := s.FilteredVariance(func(float64) float64 { return 3 }); math.Abs(got/(9*2.25)-1) > 1e-12 {
		t.Errorf("a gain of 3 gives %g, want %g", got, 9*2.25)
	}
	speed := s.FilteredVariance(func(w float64) float64 { return w })
	if m2 := s.Moment(2); math.Abs(speed/m2-1) > 1e-12 {
		t.Errorf("variance of the vertical speed %g, want m2 = %g", speed, m2)
	}
	line := seaway.Spectrum{StepRadS: 0.5, DensityM2S: []float64{7, 2, 0}}
	for n := -1; n <= 4; n++ {
		if got, want := line.Moment(n), math.Pow(0.5, float64(n)); math.Abs(got-want) > 1e-15 {
			t.Errorf("m%d of a single line = %g, want %g", n, got, want)
		}
	}
	for w, want := range map[float64]float64{-0.1: 0, 0: 7, 0.25: 4.5, 0.5: 2, 1: 0, 1.1: 0} {
		if got := line.At(w); got != want {
			t.Errorf("At(%g) = %g, want %g", w, got, want)
		}
	}
	if got := line.PeakPeriod(); got != 0 {
		t.Errorf("a peak at zero frequency has period %g, want 0", got)
	}
	rising := seaway.Spectrum{StepRadS: 0.5, DensityM2S: []float64{0, 1, 2}}
	if got := rising.PeakPeriod(); math.Abs(got-2*math.Pi) > 1e-12 {
		t.Errorf("a peak at the end of the grid has period %g, want 2 pi", got)
	}
}

func TestCalm(t *testing.T) {
	t.Parallel()
	var calm seaway.Spectrum
	flat := sea(t, 0, 10)
	for _, s := range []seaway.Spectrum{calm, flat} {
		for name, got := range map[string]float64{
			"Hs": s.SignificantHeight(), "Tp": s.PeakPeriod(), "T1": s.MeanPeriodT1(),
			"Tz": s.ZeroCrossingPeriodTz(), "Te": s.EnergyPeriodTe(), "width": s.Width(), "S": s.At(0.5),
		} {
			if got != 0 {
				t.Errorf("%s of a calm = %g, want 0", name, got)
			}
		}
	}
}

func TestSpectrumRefuses(t *testing.T) {
	t.Parallel()
	g := threeHours
	refuse(t, "significant wave height", one(seaway.JONSWAP(-1, 10, 1, g)))
	refuse(t, "significant wave height", one(seaway.JONSWAP(math.NaN(), 10, 1, g)))
	refuse(t, "peak period", one(seaway.JONSWAP(1, 0, 1, g)))
	refuse(t, "peak enhancement", one(seaway.JONSWAP(1, 10, 0.9, g)))
	refuse(t, "frequency step", one(seaway.JONSWAP(1, 10, 1, seaway.Grid{StepRadS: 0, Count: 10})))
	refuse(t, "number of frequencies", one(seaway.JONSWAP(1, 10, 1, seaway.Grid{StepRadS: 0.01, Count: 1})))
	refuse(t, "cut", one(seaway.JONSWAP(1, 10, 1, seaway.Grid{StepRadS: 0.01, Count: 500, CutAtPeaks: -1})))
	refuse(t, "peak frequency", one(seaway.JONSWAP(1, 10, 1, seaway.Grid{StepRadS: 0.1, Count: 50})))
	refuse(t, "peak frequency", one(seaway.JONSWAP(1, 10, 1, seaway.Grid{StepRadS: 0.01, Count: 50})))
	a := seaway.Spectrum{StepRadS: 0.1, DensityM2S: make([]float64, 5)}
	refuse(t, "frequency step of a partition", one(seaway.Add(a, seaway.Spectrum{StepRadS: 0.2, DensityM2S: make([]float64, 6)})))
	_, _, err := seaway.PeriodRatios(0)
	refuse(t, "peak enhancement", err)
}
