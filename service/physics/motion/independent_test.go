package motion_test

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"rideout/service/physics/internal/published"
	"rideout/service/physics/motion"
	"rideout/service/physics/rode"
	"rideout/service/physics/seaway"
)

// independentCase is a row of testdata/published/motion_cases.json.
type independentCase struct {
	Name, Source                                      string
	MassKg, LwlM, DraughtM, WindN, HsM, TpS, D0M, FbN float64
	RodeM, Kr                                         float64 // Kr 0: the static curve alone
	MeanN, SdN, MeanMaxN, Slack, DriftKt              float64
}

// system builds the case as the independent program took it.
func (c independentCase) system(t testing.TB) (motion.System, motion.Body) {
	t.Helper()
	curve := rode.Curve{A: 1, B: 4, BreakingN: c.FbN}
	r := 0.3375 * c.D0M
	s := motion.System{
		HullMassKg: 1.08 * c.MassKg, HullDragAreaM2: 0.5 * c.MassKg / (1025 * c.LwlM), WindN: c.WindN,
		CanopyDragAreaM2: 0.75 * math.Pi * c.D0M * c.D0M / 4, CanopyInertiaKg: 8.0 / 3 * 1025 * r * r * r, CanopyDepthM: 8,
		Rode: rode.Solid{Curve: curve, TauS: 60}, RodeLengthM: c.RodeM,
	}
	if c.Kr > 0 {
		steady, err := s.Steady()
		if err != nil {
			t.Fatal(err)
		}
		kd, err := curve.Kd(c.Kr, steady.Stretch)
		if err != nil {
			t.Fatal(err)
		}
		s.Rode.KdFb = kd
	}
	return s, motion.Body{LengthM: c.LwlM, DepthM: c.DraughtM / 2}
}

func (c independentCase) load(t testing.TB, seeds int, stepS float64) motion.Load {
	t.Helper()
	sea, err := seaway.JONSWAP(c.HsM, c.TpS, seaway.Gamma(c.HsM, c.TpS), seaway.RecordGrid(c.TpS))
	if err != nil {
		t.Fatal(err)
	}
	s, body := c.system(t)
	var bench motion.Bench
	var tallies []motion.Tally
	for seed := range seeds {
		rec, err := seaway.NewRecord(sea, uint64(seed+1))
		if err != nil {
			t.Fatal(err)
		}
		tally, _, err := bench.Record(s, bench.Water(s, body, rec), c.TpS, stepS)
		if err != nil {
			t.Fatal(err)
		}
		tallies = append(tallies, tally)
	}
	load, err := motion.Gather(tallies)
	if err != nil {
		t.Fatal(err)
	}
	return load
}

func independentCases(t testing.TB) (cases []independentCase) {
	t.Helper()
	data, err := os.ReadFile(published.Path("motion_cases"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &cases); err != nil {
		t.Fatal(err)
	}
	return cases
}

// The four cases of an independent program of the same model (source in the file): mean within 2 %,
// standard deviation within 5 %, mean of the 3 h maxima within 8 %, as its author states them for 12 seeds.
func TestIndependentCases(t *testing.T) {
	t.Parallel()
	for _, c := range independentCases(t) {
		t.Run(c.Name, func(t *testing.T) {
			t.Parallel()
			if c.Source == "" {
				t.Fatal("no source")
			}
			got := c.load(t, 12, 0.05)
			t.Logf("mean %.0f (%.0f) sd %.0f (%.0f) max %.0f (%.0f; r-largest %.0f) slack %.3f (%.3f) drift %.2f (%.2f) se %.3f snaps/h %.0f, longest slack %.1f s", got.MeanN, c.MeanN, got.StandardDeviationN, c.SdN, got.MeanMaximumN, c.MeanMaxN, got.Peak.Mean(), got.SlackShare, c.Slack, got.DriftMS*3600/1852, c.DriftKt, got.PeakErrorN()/got.PeakN(), got.SnapsPerHour, got.LongestSlackS)
			for _, f := range []struct {
				what           string
				got, want, tol float64
			}{
				{"mean", got.MeanN, c.MeanN, 0.02},
				{"standard deviation", got.StandardDeviationN, c.SdN, 0.05},
				{"mean 3 h maximum", got.MeanMaximumN, c.MeanMaxN, 0.08},
				{"mean 3 h maximum by the largest peaks", got.Peak.Mean(), c.MeanMaxN, 0.08},
			} {
				if math.Abs(f.got/f.want-1) > f.tol {
					t.Errorf("%s %.0f N, want %.0f within %g %%", f.what, f.got, f.want, 100*f.tol)
				}
			}
		})
	}
}
