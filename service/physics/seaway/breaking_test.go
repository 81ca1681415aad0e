package seaway_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"rideout/service/physics/seaway"
)

func share(t *testing.T, s seaway.Spectrum, aboveM float64) float64 {
	t.Helper()
	q, err := seaway.BreakingShare(s, aboveM)
	if err != nil {
		t.Fatal(err)
	}
	return q
}

func TestSteeperSeasBreakMore(t *testing.T) {
	t.Parallel()
	last := 1.0
	for tp := 8.0; tp < 16; tp++ {
		now := share(t, sea(t, 6, tp), 3)
		if !(now < last) {
			t.Errorf("Hs 6 m, Tp %g s: share %g, want below %g of the shorter sea", tp, now, last)
		}
		last = now
	}
	s := sea(t, 6, 9)
	last = 1
	for h := 0.0; h < 30; h += 1.5 {
		now := share(t, s, h)
		highEnough, err := seaway.Rayleigh.Exceedance(h, 6)
		// the joint density's own heights are a few per cent more spread than Rayleigh's
		if err != nil || now > last || now > 1.1*highEnough {
			t.Errorf("above %g m: share %g after %g, waves so high %g, %v", h, now, last, highEnough, err)
		}
		last = now
	}
	if last != 0 {
		t.Errorf("share above 28.5 m is %g, want 0", last)
	}
}

// The same distribution drawn at random: R by its marginal, 1/tau by the normal law it has given R.
func TestShareAgreesWithDrawing(t *testing.T) {
	t.Parallel()
	s := sea(t, 6, 8.5)
	hs, t1, nu := s.SignificantHeight(), s.MeanPeriodT1(), s.Width()
	random := rand.New(rand.NewPCG(1, 2))
	const draws = 2_000_000
	breaking := 0.0
	for range draws {
		R := math.Sqrt(random.ExpFloat64())
		rate := 1 + random.NormFloat64()*nu/(R*math.Sqrt2) // 1/tau
		height := R * hs / math.Sqrt2
		if rate > 0 && height > 0.5*hs {
			period := t1 / rate
			if height > 0.142*9.80665*period*period/(2*math.Pi) {
				breaking++
			}
		}
	}
	L := 2 / (1 + 1/math.Sqrt(1+nu*nu)) // negative rates are left out of the density
	drawn := L * breaking / draws
	got := share(t, s, 0)
	if scatter := math.Sqrt(breaking) / draws; math.Abs(got-drawn) > 4*scatter {
		t.Errorf("share %g, drawn %g +- %g", got, drawn, scatter)
	}
}

func TestHazard(t *testing.T) {
	t.Parallel()
	s := sea(t, 6, 9)
	beam, err := seaway.BreakingHazard(s, 12, 10800, seaway.BeamOn)
	if err != nil {
		t.Fatal(err)
	}
	if !beam.FiguresApply || beam.Lying != seaway.BeamOn || math.Abs(beam.SomeHeightM-3.6) > 1e-12 || math.Abs(beam.AllHeightM-7.2) > 1e-12 {
		t.Errorf("beam-on: %+v", beam)
	}
	if !(beam.AllLikelihood > 0 && beam.AllLikelihood < beam.SomeLikelihood && beam.SomeLikelihood < 1) {
		t.Errorf("likelihoods %g and %g, want 0 < all < some < 1", beam.AllLikelihood, beam.SomeLikelihood)
	}
	if !(beam.SomeLikelihood <= beam.SomeWaves && beam.AllLikelihood <= beam.AllWaves && beam.AllWaves < beam.SomeWaves) {
		t.Errorf("more breaking waves than waves: %+v", beam)
	}
	if !(beam.MostProbableBreakingM < beam.Breaking90M && beam.Breaking90M < beam.Highest90M && beam.MostProbableHighestM < beam.Highest90M) {
		t.Errorf("heights out of order: %+v", beam)
	}
	none := math.Pow(1-share(t, s, beam.Breaking90M), 10800/s.ZeroCrossingPeriodTz())
	if math.Abs(none-0.9) > 1e-3 {
		t.Errorf("no breaking wave above %g m with probability %g, want .9", beam.Breaking90M, none)
	}
	bow, err := seaway.BreakingHazard(s, 12, 10800, seaway.BowTo)
	if err != nil || bow.FiguresApply || bow.Lying != seaway.BowTo || bow.SomeLikelihood != beam.SomeLikelihood {
		t.Errorf("bow-to: %+v, %v, want the same sea with figures that do not apply", bow, err)
	}
}

func TestHazardGrowsWithTimeAndFallsWithLength(t *testing.T) {
	t.Parallel()
	s := sea(t, 5, 8.5)
	hazard := func(loa, duration float64) seaway.Hazard {
		h, err := seaway.BreakingHazard(s, loa, duration, seaway.BeamOn)
		if err != nil {
			t.Fatal(err)
		}
		return h
	}
	if a, b := hazard(12, 3600), hazard(12, 10800); !(a.SomeLikelihood < b.SomeLikelihood && a.Breaking90M <= b.Breaking90M) {
		t.Errorf("1 h %+v, 3 h %+v", a, b)
	}
	if a, b := hazard(9, 10800), hazard(18, 10800); !(a.AllLikelihood > b.AllLikelihood && a.SomeLikelihood > b.SomeLikelihood) {
		t.Errorf("9 m %+v, 18 m %+v", a, b)
	}
	gentle, err := seaway.BreakingHazard(sea(t, 2, 12), 12, 10800, seaway.BeamOn)
	if err != nil || gentle.MostProbableBreakingM != 0 || gentle.Breaking90M != 0 {
		t.Errorf("a long low swell: %+v, %v, want no breaking waves", gentle, err)
	}
	calm, err := seaway.BreakingHazard(seaway.Spectrum{}, 12, 10800, seaway.BeamOn)
	if err != nil || calm.SomeLikelihood != 0 || calm.Highest90M != 0 {
		t.Errorf("calm: %+v, %v", calm, err)
	}
	if q := share(t, seaway.Spectrum{}, 0); q != 0 {
		t.Errorf("share of a calm %g, want 0", q)
	}
}

func TestBreakingRefuses(t *testing.T) {
	t.Parallel()
	s := sea(t, 5, 8.5)
	refuse(t, "length overall", one(seaway.BreakingHazard(s, 0, 10800, seaway.BowTo)))
	refuse(t, "duration", one(seaway.BreakingHazard(s, 12, 0, seaway.BowTo)))
	refuse(t, "wave height", one(seaway.BreakingShare(s, math.NaN())))
	line := seaway.Spectrum{StepRadS: 0.5, DensityM2S: []float64{0, 1}}
	refuse(t, "spectral width", one(seaway.BreakingShare(line, 1)))
	refuse(t, "spectral width", one(seaway.BreakingHazard(line, 12, 10800, seaway.BowTo)))
	huge := seaway.Spectrum{StepRadS: 0.5, DensityM2S: []float64{0, 100, 1000}}
	refuse(t, "significant wave height", one(seaway.BreakingShare(huge, 1)))
}
