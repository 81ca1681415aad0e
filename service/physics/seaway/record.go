package seaway

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/dsp/fourier"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// RecordS is the length of a record of the sea: the 3 h over which a sea is usually taken as steady.
// A record repeats after it, so its frequency step is 2 pi/RecordS.
const RecordS = 10800.0

// A record's samples: their greatest number, 0.05 s apart, their least, which a calm has too, and how
// many stand at least in the shortest wave. All their numbers divide the greatest.
const (
	finest         = 216000
	coarsest       = 2160
	samplesPerWave = 5
)

// highest is the last frequency a record can hold, in steps of its grid: waves of a quarter of a second.
const highest = finest / samplesPerWave

// RecordGrid returns the frequency grid a spectrum must stand on to be realised as a record. With a
// peak below 1.25 s it ends short of CustomaryCut, at waves of a quarter of a second.
func RecordGrid(peakS float64) Grid {
	return Grid{
		StepRadS:   2 * math.Pi / RecordS,
		Count:      min(int(CustomaryCut*RecordS/peakS)+2, highest+1),
		CutAtPeaks: CustomaryCut,
	}
}

// Record is one realisation of a sea, kept as complex amplitudes of the surface elevation on its
// spectrum's grid: Gaussian, deep water, long-crested, repeating after RecordS. The same spectrum and
// seed give the same bits. Safe to read from many goroutines.
type Record struct {
	amplitude []complex128 // m; elevation = Re sum a exp(i(w t - k x)), x toward where the sea goes
	samples   int          // in RecordS
}

// NewRecord draws the record of a sea with the given seed. The spectrum must stand on a
// RecordGrid, with densities of at least 0. Cosine and sine amplitudes are independent Gaussians with
// variance S dw, so that the variance of a record itself varies as that of 3 h of a real sea does.
func NewRecord(sea Spectrum, seed uint64) (*Record, error) {
	if err := quantity.Within("frequency step", sea.StepRadS*RecordS, 2*math.Pi*(1-1e-12), 2*math.Pi*(1+1e-12), "rad per record"); err != nil {
		return nil, err
	}
	top := 0
	for i, s := range sea.DensityM2S {
		if err := quantity.Within("spectral density", s, 0, math.MaxFloat64, "m2 s/rad"); err != nil {
			return nil, err
		}
		if s > 0 {
			top = i
		}
	}
	if err := quantity.Within("highest frequency of the sea", float64(top), 0, highest, "waves per record"); err != nil {
		return nil, err
	}
	rng := rand.New(rand.NewPCG(seed, 0x5eaa_4c40))
	amplitude := make([]complex128, top+1)
	for i := 1; i <= top; i++ {
		sigma := math.Sqrt(sea.DensityM2S[i] * sea.StepRadS)
		amplitude[i] = complex(sigma*rng.NormFloat64(), -sigma*rng.NormFloat64())
	}
	return &Record{amplitude, samplesFor(top * samplesPerWave)}, nil
}

// samplesFor returns the least divisor of finest that is at least n and coarsest: samples then stand
// a whole number of 0.05 s apart, and the transform is quick, as all divisors of it have prime
// factors of 2, 3 and 5 alone. n is at most finest.
func samplesFor(n int) int {
	d := max(n, coarsest)
	for finest%d != 0 {
		d++
	}
	return d
}

// Samples returns how many samples a record of a signal has; they are RecordS/Samples() s apart.
func (r *Record) Samples() int { return r.samples }

// Filter turns the amplitude of the elevation at one frequency into that of another signal.
type Filter func(omegaRadS float64) complex128

// Velocity is the filter from elevation to the horizontal water velocity in m/s, toward where the
// sea goes, at depthM below the still water (above it as at it), aheadM farther from where the sea comes
// from than the record's origin (negative: nearer), averaged over a body of lengthM along the sea:
//
//	w exp(-k z) sinc(k l/2) exp(-i k x), k = w^2/g
//
// All three must be finite. Source: linear theory in deep water.
func Velocity(depthM, aheadM, lengthM float64) Filter {
	return func(w float64) complex128 {
		k := w * w / constant.G
		gain := w * math.Exp(-k*math.Max(depthM, 0)) * sinc(k*lengthM/2)
		sin, cos := math.Sincos(k * aheadM)
		return complex(gain*cos, -gain*sin)
	}
}

func sinc(x float64) float64 {
	if math.Abs(x) < 1e-6 {
		return 1
	}
	return math.Sin(x) / x
}

// Synthesiser makes time series of records. It keeps the transform's tables and space between
// calls; the zero value is ready. Not safe for concurrent use: one for each goroutine.
type Synthesiser struct {
	fft      *fourier.CmplxFFT
	spectrum []complex128
}

// Pair returns one period of two signals of the record, sampled at Samples() even instants:
// dst[2 i] is the first and dst[2 i + 1] the second. dst is grown if it is too small and returned.
// One transform serves both, the first as real and the second as imaginary part.
func (y *Synthesiser) Pair(dst []float64, r *Record, first, second Filter) []float64 {
	n := r.samples
	if y.fft == nil || y.fft.Len() != n {
		y.fft, y.spectrum = fourier.NewCmplxFFT(n), make([]complex128, n)
	}
	clear(y.spectrum)
	for i := 1; i < len(r.amplitude); i++ {
		w := float64(i) * 2 * math.Pi / RecordS
		a := r.amplitude[i] / 2
		f, s := a*first(w), a*second(w)
		y.spectrum[i] = complex(real(f)-imag(s), imag(f)+real(s))
		y.spectrum[n-i] = complex(real(f)+imag(s), real(s)-imag(f))
	}
	y.fft.Sequence(y.spectrum, y.spectrum)
	if cap(dst) < 2*n {
		dst = make([]float64, 2*n)
	}
	dst = dst[:2*n]
	for i, z := range y.spectrum {
		dst[2*i], dst[2*i+1] = real(z), imag(z)
	}
	return dst
}
