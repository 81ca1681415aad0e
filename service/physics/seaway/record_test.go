package seaway_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"sync"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"rideout/service/physics/constant"
	"rideout/service/physics/seaway"
)

func elevation(float64) complex128 { return 1 }

func nothing(float64) complex128 { return 0 }

func record(t *testing.T, s seaway.Spectrum, seed uint64) *seaway.Record {
	t.Helper()
	r, err := seaway.NewRecord(s, seed)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// line is a spectrum of a single frequency, so many waves in a record, with a variance of 1 m2.
func line(waves int) seaway.Spectrum {
	s := seaway.Spectrum{StepRadS: 2 * math.Pi / seaway.RecordS, DensityM2S: make([]float64, waves+1)}
	s.DensityM2S[waves] = 1 / s.StepRadS
	return s
}

// split takes the two signals of a pair apart.
func split(pair []float64) (first, second []float64) {
	for i := 0; i < len(pair); i += 2 {
		first, second = append(first, pair[i]), append(second, pair[i+1])
	}
	return first, second
}

func meanSquare(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return sum / float64(len(x))
}

// harmonics returns the complex amplitudes of a signal: x = Re sum c exp(i w t).
func harmonics(x []float64) []complex128 {
	c := fourier.NewFFT(len(x)).Coefficients(nil, x)
	for i := range c {
		c[i] *= complex(2/float64(len(x)), 0)
	}
	return c
}

// The variance of a record is a sum of one exponential variable for each frequency, of mean g^2 S dw and as
// much standard deviation. Over N seeds their mean has the standard error sqrt(sum (g^2 S dw)^2/N), and their
// standard deviation the relative one 1/sqrt(2 N), as the sum is all but Gaussian. Four of each are allowed.
func TestRecordsHaveTheVarianceOfTheSpectrum(t *testing.T) {
	t.Parallel()
	const seeds = 200
	s := sea(t, 6, 10)
	signals := []struct {
		name   string
		filter seaway.Filter
		gain   func(w float64) float64
	}{
		{"elevation", elevation, func(float64) float64 { return 1 }},
		{"velocity at the surface", seaway.Velocity(0, 0, 0), func(w float64) float64 { return w }},
		{"velocity 8 m down, 90 m nearer the sea", seaway.Velocity(8, -90, 0), func(w float64) float64 { return w * math.Exp(-8*w*w/constant.G) }},
	}
	var y seaway.Synthesiser
	var pair []float64
	for _, signal := range signals {
		sum, squares := 0.0, 0.0
		for seed := range uint64(seeds) {
			pair = y.Pair(pair, record(t, s, seed), signal.filter, nothing)
			first, _ := split(pair)
			v := meanSquare(first)
			sum, squares = sum+v, squares+v*v
		}
		got := sum / seeds
		spread := math.Sqrt((squares/seeds - got*got) * seeds / (seeds - 1))

		want := s.FilteredVariance(signal.gain)
		wantSpread := math.Sqrt(s.StepRadS * s.Integrate(func(w, density float64) float64 {
			g := signal.gain(w)
			return math.Pow(g*g*density, 2)
		}))
		if tol := 4 * wantSpread / math.Sqrt(seeds); !(math.Abs(got-want) <= tol) {
			t.Errorf("%s: mean variance of %d records %g, want %g within %g", signal.name, seeds, got, want, tol)
		}
		if tol := 4 * wantSpread / math.Sqrt(2*seeds); !(math.Abs(spread-wantSpread) <= tol) {
			t.Errorf("%s: standard deviation of the records' variance %g, want %g within %g", signal.name, spread, wantSpread, tol)
		}
	}
}

// A single line of the spectrum is a regular wave A cos wt + B sin wt; the water's speed at x and z is then
// w exp(-k z) (A cos(wt - k x) + B sin(wt - k x)).
func TestVelocityOfARegularWave(t *testing.T) {
	t.Parallel()
	var y seaway.Synthesiser
	for _, waves := range []int{540, 1080, 2160} { // periods of 20, 10 and 5 s
		r := record(t, line(waves), 7)
		n := r.Samples()
		w := float64(waves) * 2 * math.Pi / seaway.RecordS
		k := w * w / constant.G
		for _, at := range []struct{ depthM, aheadM float64 }{{0, 0}, {0.65, 0}, {8, -90}, {8, 183}, {30, 1000}, {-3, 0}} {
			up, speed := split(y.Pair(nil, r, elevation, seaway.Velocity(at.depthM, at.aheadM, 0)))
			a := harmonics(up)[waves]
			A, B := real(a), -imag(a)
			decay := math.Exp(-k * math.Max(0, at.depthM))
			for i := range n {
				phase := 2*math.Pi*float64(waves)*float64(i)/float64(n) - k*at.aheadM
				want := w * decay * (A*math.Cos(phase) + B*math.Sin(phase))
				if !(math.Abs(speed[i]-want) <= 1e-11*cmplx.Abs(a)) { // rounding of the transform and of the phase
					t.Fatalf("%d waves, %+v, sample %d: %.15g m/s, want %.15g m/s", waves, at, i, speed[i], want)
				}
			}
		}
	}
}

// A crest reaches the canopy, nearer to where the sea comes from, before it reaches the hull, by the distance
// over the wave's speed; on the same depth the signals are otherwise the same.
func TestTheCanopyFeelsACrestFirst(t *testing.T) {
	t.Parallel()
	const waves = 1080 // of 10 s
	r := record(t, line(waves), 3)
	samplesAWave := r.Samples() / waves
	w := float64(waves) * 2 * math.Pi / seaway.RecordS
	lengthM := 2 * math.Pi * constant.G / (w * w)
	var y seaway.Synthesiser
	for lead := 1; lead < samplesAWave; lead++ {
		upSeaM := lengthM * float64(lead) / float64(samplesAWave)
		hull, canopy := split(y.Pair(nil, r, seaway.Velocity(2, 0, 0), seaway.Velocity(2, -upSeaM, 0)))
		for i := range canopy {
			if later := hull[(i+lead)%len(hull)]; math.Abs(canopy[i]-later) > 1e-11 {
				t.Fatalf("canopy %g m up-sea at sample %d: %g m/s, the hull %d samples later %g m/s", upSeaM, i, canopy[i], lead, later)
			}
		}
	}
}

// The mean over a body, summed point by point, is what the filter gives; over a whole wave length it is nothing.
func TestVelocityAveragesOverTheBody(t *testing.T) {
	t.Parallel()
	const w, points = 1.1, 4000
	lengthM := 2 * math.Pi * constant.G / (w * w)
	for _, bodyM := range []float64{1e-9, 1, 11.2, 40, lengthM, 1.5 * lengthM} {
		var want complex128
		for i := range points {
			x := bodyM * ((float64(i)+0.5)/points - 0.5)
			want += seaway.Velocity(2, 15+x, 0)(w) / points
		}
		got := seaway.Velocity(2, 15, bodyM)(w)
		if !(cmplx.Abs(got-want) <= 1e-6) { // of the midpoint rule, (k l)^2/(24 points^2)
			t.Errorf("averaged over %g m: %g m/s a metre, summed %g", bodyM, got, want)
		}
		if bodyM == lengthM && cmplx.Abs(got) > 1e-15 {
			t.Errorf("averaged over a wave length: %g m/s a metre, want none", got)
		}
	}
}

// A record holds nothing but the spectrum's frequencies, each signal is its filter times the elevation at every
// one, so that Parseval's sum is its mean square, and no signal leaks into the other of its pair.
func TestSignalsOfAPairAreTheirFilters(t *testing.T) {
	t.Parallel()
	s := sea(t, 6, 10)
	top := 0
	for i, density := range s.DensityM2S {
		if density > 0 {
			top = i
		}
	}
	r := record(t, s, 11)
	hull, canopy := seaway.Velocity(0.65, 0, 11.2), seaway.Velocity(8, -90, 0)
	var y seaway.Synthesiser
	up, _ := split(y.Pair(nil, r, elevation, nothing))
	first, second := split(y.Pair(nil, r, hull, canopy))
	third, _ := split(y.Pair(nil, r, canopy, hull))
	surface := harmonics(up)
	for _, signal := range []struct {
		name   string
		x      []float64
		filter seaway.Filter
	}{{"hull", first, hull}, {"canopy", second, canopy}, {"canopy first", third, canopy}} {
		parseval := 0.0
		for i, c := range harmonics(signal.x) {
			var want complex128
			if i >= 1 && i <= top {
				want = signal.filter(float64(i)*s.StepRadS) * surface[i]
			}
			if !(cmplx.Abs(c-want) <= 1e-13) { // of amplitudes up to .2 m/s
				t.Fatalf("%s at frequency %d: %g m/s, want %g m/s", signal.name, i, c, want)
			}
			parseval += real(want*cmplx.Conj(want)) / 2
		}
		if got := meanSquare(signal.x); !(math.Abs(got/parseval-1) <= 1e-12) {
			t.Errorf("%s: mean square %.15g, Parseval's sum %.15g", signal.name, got, parseval)
		}
	}
}

// A record goes on at its end as it began: the step across the end is one of a smooth signal.
func TestRecordRepeats(t *testing.T) {
	t.Parallel()
	var y seaway.Synthesiser
	up, _ := split(y.Pair(nil, record(t, sea(t, 6, 10), 5), elevation, nothing))
	n := len(up)
	bend := func(i int) float64 { return up[(i+1)%n] - 2*up[i] + up[(i+n-1)%n] }
	greatest := 0.0
	for i := 1; i < n-1; i++ {
		greatest = max(greatest, math.Abs(bend(i)))
	}
	for _, i := range []int{0, n - 1} {
		if math.Abs(bend(i)) > greatest {
			t.Errorf("the curve bends by %g m at the record's end, nowhere else by more than %g m", bend(i), greatest)
		}
	}
}

// Same seed, same bits: again, into used space, after another length, and on many goroutines at once.
func TestSameSeedSameBits(t *testing.T) {
	t.Parallel()
	hull, canopy := seaway.Velocity(0.65, 0, 11.2), seaway.Velocity(8, -90, 0)
	s, other := sea(t, 6, 10), sea(t, 3, 7)
	var y seaway.Synthesiser
	want := slices.Clone(y.Pair(nil, record(t, s, 9), hull, canopy))

	used := y.Pair(make([]float64, 10), record(t, other, 1), canopy, hull)
	if got := y.Pair(used, record(t, s, 9), hull, canopy); !slices.Equal(got, want) {
		t.Error("the same record into used space differs")
	}
	shared := record(t, s, 9)
	var each sync.WaitGroup
	for range 8 {
		each.Go(func() {
			var mine seaway.Synthesiser
			if got := mine.Pair(nil, shared, hull, canopy); !slices.Equal(got, want) {
				t.Error("the same record on another goroutine differs")
			}
		})
	}
	each.Wait()

	for seed := range uint64(9) {
		if got := y.Pair(nil, record(t, s, seed), hull, canopy); slices.Equal(got, want) {
			t.Errorf("seeds 9 and %d give the same record", seed)
		}
	}
}

// Records of two seeds have no more in common than chance leaves: the correlation of two independent records has
// mean 0 and variance sum (S dw)^2/(2 m0^2), of which 4 standard deviations are allowed.
func TestSeedsAreIndependent(t *testing.T) {
	t.Parallel()
	s := sea(t, 6, 10)
	m0 := s.Moment(0)
	fourth := s.StepRadS * s.Integrate(func(_, density float64) float64 { return density * density })
	tol := 4 * math.Sqrt(fourth/2) / m0
	var y seaway.Synthesiser
	first, _ := split(y.Pair(nil, record(t, s, 0), elevation, nothing))
	for seed := uint64(1); seed <= 20; seed++ {
		second, _ := split(y.Pair(nil, record(t, s, seed), elevation, nothing))
		product := 0.0
		for i := range first {
			product += first[i] * second[i] / float64(len(first))
		}
		if correlation := product / m0; !(math.Abs(correlation) <= tol) {
			t.Errorf("seeds 0 and %d: correlation %g, want none within %g", seed, correlation, tol)
		}
	}
}

func TestRecordGrid(t *testing.T) {
	t.Parallel()
	for _, peakS := range []float64{0.5, 1, 1.25, 1.3, 3.7, 5, 8.1, 10, 12.5, 17.3, 25, 40} {
		grid := seaway.RecordGrid(peakS)
		s, err := seaway.JONSWAP(2, peakS, 3.3, grid)
		if err != nil {
			t.Fatal(err)
		}
		if hs := s.SignificantHeight(); math.Abs(hs-2) > 1e-12 {
			t.Errorf("peak at %g s: height %g m on the grid, want 2 m", peakS, hs)
		}
		top := 0
		for i, density := range s.DensityM2S {
			if density > 0 {
				top = i
			}
		}
		if reach := float64(top) * peakS / seaway.RecordS; peakS > 1.25 && !(reach > 4.99 && reach <= seaway.CustomaryCut) {
			t.Errorf("peak at %g s: the sea reaches to %g peak frequencies, want the customary cut", peakS, reach)
		}
		n := record(t, s, 1).Samples()
		if n > 216000 || 216000%n != 0 {
			t.Errorf("peak at %g s: %d samples, want a divisor of 216000", peakS, n)
		}
		if n < 5*top {
			t.Errorf("peak at %g s: %d samples for %d of the shortest waves, want five each", peakS, n, top)
		}
	}
}

// A calm has a record too, as finely sampled as a long swell's.
func TestRecordOfACalm(t *testing.T) {
	t.Parallel()
	calm := seaway.Spectrum{StepRadS: 2 * math.Pi / seaway.RecordS, DensityM2S: make([]float64, 500)}
	r := record(t, calm, 1)
	if r.Samples() != 2160 {
		t.Errorf("%d samples, want one every 5 s", r.Samples())
	}
	var y seaway.Synthesiser
	for i, v := range y.Pair(nil, r, elevation, seaway.Velocity(0, 0, 0)) {
		if v != 0 {
			t.Fatalf("sample %d of a calm is %g", i, v)
		}
	}
}

func TestRecordRefuses(t *testing.T) {
	t.Parallel()
	const step = 2 * math.Pi / seaway.RecordS
	refuse(t, "frequency step", one(seaway.NewRecord(seaway.Spectrum{}, 1)))
	refuse(t, "frequency step", one(seaway.NewRecord(seaway.Spectrum{StepRadS: step * (1 + 1e-9)}, 1)))
	refuse(t, "frequency step", one(seaway.NewRecord(seaway.Spectrum{StepRadS: math.NaN()}, 1)))
	for _, density := range []float64{-1, math.NaN(), inf} {
		refuse(t, "spectral density", one(seaway.NewRecord(seaway.Spectrum{StepRadS: step, DensityM2S: []float64{0, 1, density}}, 1)))
	}
	refuse(t, "highest frequency of the sea", one(seaway.NewRecord(line(43201), 1)))
	if n := record(t, line(43200), 1).Samples(); n != 216000 {
		t.Errorf("the shortest waves a record can hold: %d samples, want 216000", n)
	}
}

// Three hours of a storm's sea at a 12 m vessel and at her canopy, 8 m down and 90 m up-sea.
func ExampleSynthesiser_Pair() {
	s, err := seaway.JONSWAP(6, 10, seaway.Gamma(6, 10), seaway.RecordGrid(10))
	if err != nil {
		fmt.Println(err)
		return
	}
	r, err := seaway.NewRecord(s, 1)
	if err != nil {
		fmt.Println(err)
		return
	}
	var y seaway.Synthesiser
	waterMS := y.Pair(nil, r, seaway.Velocity(0.65, 0, 11.2), seaway.Velocity(8, -90, 0))
	var greatest, squares [2]float64
	for i, v := range waterMS {
		greatest[i%2] = max(greatest[i%2], v)
		squares[i%2] += v * v
	}
	fmt.Printf("%d samples, one every %.2f s\n", r.Samples(), seaway.RecordS/float64(r.Samples()))
	for i, at := range []string{"hull", "canopy"} {
		fmt.Printf("water at the %s: %.2f m/s root mean square, %.1f m/s at most\n",
			at, math.Sqrt(squares[i]/float64(r.Samples())), greatest[i])
	}
	// Output:
	// 27000 samples, one every 0.40 s
	// water at the hull: 1.00 m/s root mean square, 3.5 m/s at most
	// water at the canopy: 0.64 m/s root mean square, 2.3 m/s at most
}
