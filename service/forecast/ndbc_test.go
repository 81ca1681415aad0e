package forecast_test

import (
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"rideout/service/forecast"
	"rideout/service/planner"
)

// The same two invented hours in each form the files have had.
var sameHours = map[string]string{
	"today": `#YY  MM DD hh mm WDIR WSPD GST  WVHT   DPD   APD MWD   PRES  ATMP  WTMP  DEWP  VIS  TIDE
#yr  mo dy hr mn degT m/s  m/s     m   sec   sec degT   hPa  degC  degC  degC   mi    ft
1998 01 12 18 00  99 16.5 21.0  5.25 10.00  7.10 270 1001.0   4.0   7.0   2.0 99.0 99.00
1998 01 12 19 00 999 17.5 99.0 99.00 99.00 99.00 999 1000.0   4.0   7.0   2.0 99.0 99.00
`,
	"real time, newest first": `#YY  MM DD hh mm WDIR WSPD GST  WVHT   DPD   APD MWD   PRES  ATMP  WTMP  DEWP  VIS PTDY  TIDE
#yr  mo dy hr mn degT m/s  m/s     m   sec   sec degT   hPa  degC  degC  degC  nmi  hPa    ft
1998 01 12 19 00  MM 17.5   MM    MM    MM    MM  MM 1000.0   4.0   7.0   2.0   MM   MM    MM
1998 01 12 18 00  99 16.5 21.0  5.25 10.00    MM 270 1001.0   4.0   7.0   2.0   MM -2.0    MM
`,
	"no units": `YYYY MM DD hh mm WDIR WSPD GST  WVHT   DPD   APD MWD
1998 01 12 18 00  99 16.5 21.0  5.25 10.00  7.10 270
1998 01 12 19 00 999 17.5 99.0 99.00 99.00 99.00 999
`,
	"two digits, no minutes, CRLF": "YY MM DD hh WD   WSPD GST  WVHT  DPD   APD  MWD  BAR    ATMP  WTMP  DEWP  VIS\r\n" +
		"98 01 12 18 099 16.5 21.0 05.25 10.00 07.10 270 1001.0 004.0 007.0 999.0 99.0\r\n" +
		"98 01 12 19 999 17.5 99.0 99.00 99.00 99.00 999 1000.0 004.0 007.0 999.0 99.0\r\n",
	"the year TIDE came in": `YYYY MM DD hh WD   WSPD GST  WVHT  DPD   APD  MWD  TIDE
1998 01 12 18 099 16.5 21.0 05.25 10.00 07.10 270
1998 01 12 19 999 17.5 99.0 99.00 99.00 99.00 999 99.00
`,
	"two files on end": `#YY MM DD hh mm WDIR WSPD GST WVHT DPD MWD
1998 01 12 18 00  99 16.5 21.0  5.25 10.00 270

# a remark
YY MM DD hh GST WSPD WD DPD WVHT MWD
98 01 12 19 99.0 17.5 999 99.00 99.00 999
`,
}

func TestDecodeNDBCForms(t *testing.T) {
	t.Parallel()
	for name, text := range sameHours {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, notes, err := forecast.DecodeNDBC([]byte(text))
			if err != nil {
				t.Fatal(err)
			}
			if len(got.Steps) != 2 {
				t.Fatalf("%d steps, want 2", len(got.Steps))
			}
			for i, want := range []wantStep{
				{time: "1998-01-12T18:00:00Z", windMS: 16.5, gustMS: 21, windFromDeg: 99, hsM: 5.25, tpS: 10, waveFromDeg: 270},
				{time: "1998-01-12T19:00:00Z", windMS: 17.5, gustMS: none, windFromDeg: none, hsM: none, tpS: none, waveFromDeg: none},
			} {
				s := got.Steps[i]
				if at := s.Time.Format(time.RFC3339); at != want.time {
					t.Errorf("step %d at %s, want %s", i, at, want.time)
				}
				near(t, "wind", &s.WindMS, want.windMS)
				near(t, "gust", s.GustMS, want.gustMS)
				nearDeg(t, "wind from", s.WindFrom, want.windFromDeg)
				near(t, "Hs", s.HsM, want.hsM)
				near(t, "Tp", s.TpS, want.tpS)
				nearDeg(t, "wave from", s.WaveFrom, want.waveFromDeg)
			}
			if _, ok := noteOf(notes, forecast.NoteWindAsGiven); !ok {
				t.Errorf("notes %+v don't say the wind is as measured", notes)
			}
			if _, ok := noteOf(notes, forecast.NoteReordered); ok != (name == "real time, newest first") {
				t.Errorf("notes %+v", notes)
			}
		})
	}
}

func TestDecodeNDBCNotes(t *testing.T) {
	t.Parallel()
	const text = `#YY MM DD hh mm WSPD WVHT DPD
2031 05 01 02 00 12.0  2.00  0.00
2031 05 01 00 00 10.0  1.00  5.00
2031 05 01 01 00 99.0  1.00  5.00
2031 05 01 00 00 11.0  1.50  6.00
2031 05 03 02 00  0.0  0.00 99.00
`
	got, notes, err := forecast.DecodeNDBC([]byte(text))
	if err != nil {
		t.Fatal(err)
	}
	var winds []float64
	for _, s := range got.Steps {
		winds = append(winds, s.WindMS)
	}
	if want := []float64{10, 12, 0}; !slices.Equal(winds, want) {
		t.Errorf("winds %v, want %v", winds, want)
	}
	near(t, "a calm sea's Hs", got.Steps[2].HsM, 0)
	near(t, "a period of zero", got.Steps[1].TpS, none)
	for code, count := range map[string]int{
		forecast.NoteReordered: 4, forecast.NoteDuplicateTime: 1, forecast.NoteWindMissing: 1,
		forecast.NotePeriodZero: 1, forecast.NoteGap: 1, forecast.NoteWindAsGiven: 0,
	} {
		if n, ok := noteOf(notes, code); !ok || n.Count != count || n.Message == "" {
			t.Errorf("note %s is %+v, want a count of %d", code, n, count)
		}
	}
	if len(notes) != 6 {
		t.Errorf("%d notes, want 6: %+v", len(notes), notes)
	}
}

func TestDecodeNDBCYears(t *testing.T) {
	t.Parallel()
	for year, want := range map[string]int{"70": 1970, "98": 1998, "00": 2000, "69": 2069, "1970": 1970, "2031": 2031} {
		got, _, err := forecast.DecodeNDBC([]byte("YY MM DD hh WSPD\n" + year + " 02 28 23 5.0\n"))
		if err != nil {
			t.Errorf("%s: %v", year, err)
			continue
		}
		if y := got.Steps[0].Time.Year(); y != want {
			t.Errorf("year %s read as %d, want %d", year, y, want)
		}
	}
}

func TestDecodeNDBCRefuses(t *testing.T) {
	t.Parallel()
	const header = "#YY MM DD hh mm WDIR WSPD GST\n"
	for _, c := range []struct {
		name, text string
		want       []string
	}{
		{"empty", "", []string{"/line/1"}},
		{"no header", "2031 01 01 00 00 90 5.0 6.0\n2031 01 01 01 00 90 5.0 6.0\n", []string{"/line/1"}},
		{"header alone", header, []string{"/line/1"}},
		{"wind never there", header + "2031 01 01 00 00 90 99.0 6.0\n", []string{"/line/1"}},
		{"no wind column", "#YY MM DD hh mm WVHT\n#yr mo dy hr mn m\n2031 01 01 00 00 5.0\n", []string{"/line/1"}},
		{"a column twice", "YY MM DD hh WD WDIR WSPD\n", []string{"/line/1/WDIR"}},
		{"knots", header + "#yr mo dy hr mn degT kts kts\n2031 01 01 00 00 90 5.0 6.0\n", []string{"/line/2/WSPD", "/line/2/GST"}},
		{"units cut off", header + "#yr mo dy hr mn degT m/s\n", []string{"/line/2/GST"}},
		{"a row cut off", header + "2031 01 01 00 00 90 5.0\n", []string{"/line/2"}},
		{"a row too long", header + "2031 01 01 00 00 90 5.0 6.0 7.0\n", []string{"/line/2"}},
		{"every field wrong", header + "1066 13 32 24 60 361 98.95 -1\n", []string{
			"/line/2/YY", "/line/2/MM", "/line/2/DD", "/line/2/hh", "/line/2/mm", "/line/2/WSPD", "/line/2/GST", "/line/2/WDIR",
		}},
		{"30 February", header + "2031 02 30 00 00 90 5.0 6.0\n", []string{"/line/2/DD"}},
		{"no decimal numbers", header + "2031 01 01 00 00 NaN 1e1 0x5\n", []string{"/line/2/WSPD", "/line/2/GST", "/line/2/WDIR"}},
		{"two bad rows", header + "2031 01 01 00 00 90 x 6.0\n2031 01 01 01 00 90 5.0 6.0\n2031 01 01 02 00 90 5.0 y\n", []string{"/line/2/WSPD", "/line/4/GST"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, notes, err := forecast.DecodeNDBC([]byte(c.text))
			if !reflect.DeepEqual(got, planner.Forecast{}) || notes != nil {
				t.Errorf("an error and a value: %+v %+v", got, notes)
			}
			if pointers := pointersOf(t, err); !slices.Equal(pointers, c.want) {
				t.Errorf("problems at %q, want %q", pointers, c.want)
			}
		})
	}
}

// A file upside down is the same record, as real-time files are.
func TestDecodeNDBCOrderDoesNotMatter(t *testing.T) {
	t.Parallel()
	rows := []string{
		"2031 01 01 00 50 90 5.0 6.0", "2031 01 01 01 50 91 6.0 7.0", "2031 01 01 02 50 92 MM 8.0", "2031 01 01 03 50 93 8.0 9.0",
	}
	read := func(rows []string) planner.Forecast {
		f, _, err := forecast.DecodeNDBC([]byte("#YY MM DD hh mm WDIR WSPD GST\n" + strings.Join(rows, "\n")))
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	forward := read(rows)
	slices.Reverse(rows)
	if backward := read(rows); !reflect.DeepEqual(forward, backward) {
		t.Errorf("forward %+v, backward %+v", forward, backward)
	}
}
