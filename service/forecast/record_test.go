package forecast_test

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"rideout/service/forecast"
)

// record reads a file of the reference data that lies beside the repository and is no part of it.
func record(t *testing.T, name string) []byte {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "..", "shared", "reference", "data", name))
	if errors.Is(err, fs.ErrNotExist) {
		t.Skipf("the reference data are not here: %v", err)
	}
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// The figures were counted in the file by awk, apart from this package:
// rows, rows without WVHT, and by month rows, greatest WVHT, greatest WSPD, first and last row.
func TestRecordOfStation44005(t *testing.T) {
	t.Parallel()
	f, notes, err := forecast.DecodeNDBC(record(t, "ndbc_44005_2012_jan_nov.txt"))
	if err != nil {
		t.Fatal(err)
	}
	withoutHs, withoutMWD := 0, 0
	for _, s := range f.Steps {
		if s.HsM == nil {
			withoutHs++
		}
		if s.WaveFrom == nil {
			withoutMWD++
		}
		if s.GustMS == nil || s.WindFrom == nil {
			t.Errorf("%s: no gust or no wind direction; the file has both in every row", s.Time)
		}
	}
	if len(f.Steps) != 168 || withoutHs != 5 || withoutMWD != 168 {
		t.Errorf("%d steps, %d without Hs, %d without wave direction; want 168, 5, 168", len(f.Steps), withoutHs, withoutMWD)
	}
	var codes []string
	for _, n := range notes {
		codes = append(codes, n.Code)
	}
	if want := []string{forecast.NoteGap, forecast.NoteWindAsGiven}; !slices.Equal(codes, want) {
		t.Errorf("notes %q, want %q", codes, want)
	}

	runs := forecast.Runs(f, 24*time.Hour)
	if len(runs) != 2 {
		t.Fatalf("%d runs, want January's and November's", len(runs))
	}
	for i, want := range []struct {
		steps                 int
		hs, tp, wind          float64
		first, last, windiest string
	}{
		{96, 8.62, 10.81, 18.8, "2012-01-12T00:50:00Z", "2012-01-15T23:50:00Z", "2012-01-13T22:50:00Z"},
		{72, 7.23, 10.81, 18.4, "2012-11-07T00:50:00Z", "2012-11-09T23:50:00Z", "2012-11-08T07:50:00Z"},
	} {
		steps := runs[i].Steps
		if len(steps) != want.steps {
			t.Fatalf("run %d has %d steps, want %d", i, len(steps), want.steps)
		}
		highest, windiest := 0, 0
		for j, s := range steps {
			if s.HsM != nil && *s.HsM > *steps[highest].HsM {
				highest = j
			}
			if s.WindMS > steps[windiest].WindMS {
				windiest = j
			}
		}
		near(t, "greatest Hs", steps[highest].HsM, want.hs)
		near(t, "its Tp", steps[highest].TpS, want.tp)
		near(t, "strongest wind", &steps[windiest].WindMS, want.wind)
		for what, at := range map[string][2]string{
			"first":    {steps[0].Time.Format(time.RFC3339), want.first},
			"last":     {steps[len(steps)-1].Time.Format(time.RFC3339), want.last},
			"windiest": {steps[windiest].Time.Format(time.RFC3339), want.windiest},
		} {
			if at[0] != at[1] {
				t.Errorf("run %d %s step at %s, want %s", i, what, at[0], at[1])
			}
		}
	}
}

// The Center's spectral files look alike and have no wind; they are refused with the reason.
func TestSpectralFilesAreRefused(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"ndbc_spectral_sample.txt", "ndbc_spectral_summary.txt"} {
		_, _, err := forecast.DecodeNDBC(record(t, name))
		if got := pointersOf(t, err); !slices.Equal(got, []string{"/line/1"}) || !strings.Contains(err.Error(), "no column WSPD") {
			t.Errorf("%s: %v", name, err)
		}
	}
}
