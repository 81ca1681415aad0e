// Package seaway describes the sea a vessel lies in: linear waves, spectra, growth from a wind
// history, extremes in a duration, breaking, Stokes drift and the sea-state code.
//
// Heights are crest to trough in m, periods in s, angular frequencies in rad/s. Spectra are
// one-sided densities of the surface elevation over angular frequency, m2 s/rad, long-crested:
// no spreading of directions is modelled. Everything is a pure function of its arguments.
package seaway

import (
	"math"
	"slices"

	"rideout/service/physics/quantity"
)

// The range of sea states covered; the highest significant height measured at sea is below 20 m.
const (
	maxHeightM             = 50.0
	maxSignificantM        = 25.0
	minPeakS, maxPeakS     = 0.5, 40.0
	minGamma, maxGamma     = 1.0, 7.0
	minStepRadS            = 1e-6
	maxCount               = 1 << 22
	stepsBelowPeak         = 10.0 // a grid must have so many steps below the peak to show its shape
	sigmaBelow, sigmaAbove = 0.07, 0.09
)

// CustomaryCut is where spectra are usually ended, in peak frequencies: the tail above is not
// waves a hull feels, and the higher moments depend on it.
const CustomaryCut = 5.0

// Grid is an equally spaced frequency grid: entry i stands at i times the step. A realisation of
// duration D by a discrete Fourier transform needs the step 2 pi / D.
type Grid struct {
	StepRadS   float64
	Count      int     // entries, the one at zero frequency included
	CutAtPeaks float64 // density is zero above so many peak frequencies; 0 leaves the tail to the grid's end
}

func (g Grid) check() error {
	if err := quantity.Within("frequency step", g.StepRadS, minStepRadS, 1, "rad/s"); err != nil {
		return err
	}
	if err := quantity.Within("number of frequencies", float64(g.Count), 2, maxCount, "entries"); err != nil {
		return err
	}
	if g.CutAtPeaks == 0 {
		return nil
	}
	return quantity.Within("cut", g.CutAtPeaks, 1.5, inf, "peak frequencies")
}

// Spectrum is a one-sided variance density of the surface elevation on an equally spaced grid:
// DensityM2S[i] in m2 s/rad stands at i*StepRadS. Integrals over it are plain sums times the step, the
// same the amplitudes sqrt(2 S step) of a realisation give, so a record made on the grid has just
// the moments returned here. The zero value is a calm sea. Safe to read from many goroutines.
type Spectrum struct {
	StepRadS   float64
	DensityM2S []float64
}

// Gamma returns the peak enhancement of a JONSWAP spectrum from significant height in m and peak
// period in s: 5 for a steep young sea (Tp/sqrt(Hs) <= 3.6), 1 for an old one (>= 5), between them
// by the exponential. A sea without height is an old one.
//
// Source: DNV-RP-C205 (2010), sec. 3.5.5, from memory.
func Gamma(hsM, tpS float64) float64 {
	x := tpS / math.Sqrt(hsM)
	switch {
	case x <= 3.6:
		return 5
	case x < 5:
		return math.Exp(5.75 - 1.15*x)
	default:
		return 1
	}
}

// JONSWAP returns the spectrum of a sea with significant height Hs in m (0 to 25), peak period Tp in
// s (0.5 to 40) and peak enhancement gamma (1 to 7; 1 is Pierson-Moskowitz), scaled so that the
// variance on the grid is Hs^2/16 to rounding, the cut included. The grid must reach the peak and
// have ten steps below it.
//
// Source: Hasselmann et al. (1973), Measurements of wind-wave growth and swell decay during the
// Joint North Sea Wave Project; form of DNV-RP-C205 sec. 3.5.5, from memory.
func JONSWAP(hsM, tpS, gamma float64, grid Grid) (Spectrum, error) {
	if err := checkSea(hsM, tpS); err != nil {
		return Spectrum{}, err
	}
	if err := checkGamma(gamma); err != nil {
		return Spectrum{}, err
	}
	if err := grid.check(); err != nil {
		return Spectrum{}, err
	}
	wp := 2 * math.Pi / tpS
	top := float64(grid.Count-1) * grid.StepRadS
	if err := quantity.Within("peak frequency", wp, stepsBelowPeak*grid.StepRadS, top, "rad/s"); err != nil {
		return Spectrum{}, err
	}
	s := Spectrum{StepRadS: grid.StepRadS, DensityM2S: make([]float64, grid.Count)}
	for i := 1; i < grid.Count; i++ {
		x := float64(i) * grid.StepRadS / wp
		if grid.CutAtPeaks > 0 && x > grid.CutAtPeaks {
			break
		}
		s.DensityM2S[i] = jonswapShape(x, gamma)
	}
	scale := hsM * hsM / 16 / s.Moment(0)
	for i := range s.DensityM2S {
		s.DensityM2S[i] *= scale
	}
	return s, nil
}

// jonswapShape is the spectrum without its scale over x, the frequency in peak frequencies.
func jonswapShape(x, gamma float64) float64 {
	sigma := sigmaBelow
	if x > 1 {
		sigma = sigmaAbove
	}
	r := (x - 1) / sigma
	x2 := x * x
	return math.Exp(-1.25/(x2*x2)) / (x2 * x2 * x) * math.Pow(gamma, math.Exp(-r*r/2))
}

func checkSea(hsM, tpS float64) error {
	if err := quantity.Within("significant wave height", hsM, 0, maxSignificantM, "m"); err != nil {
		return err
	}
	return quantity.Within("peak period", tpS, minPeakS, maxPeakS, "s")
}

func checkGamma(gamma float64) error {
	return quantity.Within("peak enhancement", gamma, minGamma, maxGamma, "")
}

// Add returns the sea of two partitions, wind sea and swell say: their variances add, frequency by
// frequency. Both must stand on the same step; the shorter grid is carried on without energy. The
// zero value adds nothing.
func Add(a, b Spectrum) (Spectrum, error) {
	if len(a.DensityM2S) < len(b.DensityM2S) {
		a, b = b, a
	}
	if len(b.DensityM2S) > 0 {
		if err := quantity.Within("frequency step of a partition", b.StepRadS, a.StepRadS, a.StepRadS, "rad/s"); err != nil {
			return Spectrum{}, err
		}
	}
	sum := Spectrum{StepRadS: a.StepRadS, DensityM2S: slices.Clone(a.DensityM2S)}
	for i, density := range b.DensityM2S {
		sum.DensityM2S[i] += density
	}
	return sum, nil
}

// At returns the density in m2 s/rad at omega in rad/s, linear between grid points and zero outside
// the grid.
func (s Spectrum) At(omegaRadS float64) float64 {
	x := omegaRadS / s.StepRadS
	if !(x >= 0 && x <= float64(len(s.DensityM2S)-1)) {
		return 0
	}
	i := int(x)
	if i == len(s.DensityM2S)-1 {
		return s.DensityM2S[i]
	}
	part := x - float64(i)
	return s.DensityM2S[i]*(1-part) + s.DensityM2S[i+1]*part
}

// Integrate returns the integral over angular frequency of f, which is given omega in rad/s and the
// density there in m2 s/rad. Zero frequency, which is no wave, is left out.
func (s Spectrum) Integrate(f func(omegaRadS, densityM2S float64) float64) float64 {
	sum := 0.0
	for i := 1; i < len(s.DensityM2S); i++ {
		sum += f(float64(i)*s.StepRadS, s.DensityM2S[i])
	}
	return sum * s.StepRadS
}

// FilteredVariance returns the variance of a linear response to the sea, in the square of the
// response's unit: the integral of gain^2 S, gain in response per metre of elevation.
func (s Spectrum) FilteredVariance(gain func(omegaRadS float64) float64) float64 {
	return s.Integrate(func(w, density float64) float64 {
		g := gain(w)
		return g * g * density
	})
}
