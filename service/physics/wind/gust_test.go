package wind_test

import (
	"bufio"
	"bytes"
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"rideout/service/physics/wind"
)

// The ratio is counted again from the buoy's rows, where they are at hand beside the repository.
func TestGustRatioIsThatOfTheRecord(t *testing.T) {
	t.Parallel()
	ratios := recordedGustRatios(t)
	if len(ratios) != 85 {
		t.Errorf("%d hours with wind and gust present and a wind of 12 m/s or more, want 85", len(ratios))
	}
	sum, least, greatest := 0.0, math.Inf(1), 0.0
	for _, r := range ratios {
		sum, least, greatest = sum+r, math.Min(least, r), math.Max(greatest, r)
	}
	g := wind.GustRatio()
	for _, c := range []struct {
		what      string
		got, want float64
	}{{"mean", g.Mid, sum / float64(len(ratios))}, {"least", g.Low, least}, {"greatest", g.High, greatest}} {
		if !(math.Abs(c.got-c.want) <= 0.0005) { // half of the last digit kept
			t.Errorf("%s gust ratio %g, the record gives %g", c.what, c.got, c.want)
		}
	}
}

func recordedGustRatios(t *testing.T) (ratios []float64) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "..", "..", "shared", "reference", "data", "ndbc_44005_2012_jan_nov.txt"))
	if errors.Is(err, fs.ErrNotExist) {
		t.Skipf("the reference data are not here: %v", err)
	}
	if err != nil {
		t.Fatal(err)
	}
	const windColumn, gustColumn, missing = 6, 7, 99.0
	rows := bufio.NewScanner(bytes.NewReader(text))
	rows.Scan() // the header
	for rows.Scan() {
		columns := strings.Fields(rows.Text())
		windMS, err := strconv.ParseFloat(columns[windColumn], 64)
		if err != nil {
			t.Fatal(err)
		}
		gustMS, err := strconv.ParseFloat(columns[gustColumn], 64)
		if err != nil {
			t.Fatal(err)
		}
		if windMS >= 12 && windMS < missing && gustMS < missing {
			ratios = append(ratios, gustMS/windMS)
		}
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return ratios
}
