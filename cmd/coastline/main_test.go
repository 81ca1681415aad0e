package main

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"rideout/service/physics/coast"
	"rideout/service/physics/geo"
)

// small is a world of eight cells of 90 degrees, as ncdump would print it. In the cell north-east of 0 N 0 E lies a ring of shore
// from 10 to 30 degrees, with a lake in it from 15 to 20; a headland of the cell west of it comes over
// Greenwich at 40 to 50 N; and a grounding line, to be left out, at the equator. One coordinate is -32767, which prints as "_".
const small = `netcdf small {
dimensions:
	Dimension_of_scalar = 1 ;
variables:
	short Relative_longitude_from_SW_corner_of_bin(Dimension_of_point_arrays) ;
		Relative_longitude_from_SW_corner_of_bin:units = "1/65535 of 90 degrees" ;

// global attributes:
		:version = "0.0.1" ;
data:

 N_bins_in_360_longitude_range = 4 ;

 N_bins_in_180_degree_latitude_range = 2 ;

 Id_of_first_segment_in_a_bin = 0, 4, 4, 4, 5, 5, 5, 5 ;

 N_segments_in_a_bin = 4, 0, 0, 1, 0, 0, 0, 0 ;

 Embedded_node_levels_in_a_bin = 0, 0, 0, 0, 0, 0, 0, 0 ;

 Embedded_npts_levels_exit_entry_for_a_segment = 2660, 2724, 1627, 1408,
    1609 ;

 Id_of_first_point_in_a_segment = 0, 5, 10, 13, 15 ;

 Relative_longitude_from_SW_corner_of_bin = 7282, 21845, 21845, 7282, 7282,
    10923, 14563, 14563, 10923, 10923, 0, _, 0, 100, 200, -1, -7283, -1 ;

 Relative_latitude_from_SW_corner_of_bin = 7282, 7282, 21845, 21845, 7282,
    10923, 10923, 14563, 14563, 10923, 29127, _, -29127, 0, 0, 29127, -32768,
    -29127 ;
}
`

func turned(t *testing.T) coast.Data {
	t.Helper()
	compact, err := turn(small, "small.nc", "0123abcd")
	if err != nil {
		t.Fatal(err)
	}
	again, err := turn(small, "small.nc", "0123abcd")
	if err != nil || !bytes.Equal(compact, again) {
		t.Errorf("made twice it differs: %v", err)
	}
	d, err := coast.Open(string(compact))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestTurnedIsReadBack(t *testing.T) {
	t.Parallel()
	d := turned(t)
	h := d.Header()
	h.Bytes = 0
	want := coast.Header{Source: "GSHHG 0.0.1, small.nc", SHA256: "0123abcd", Columns: 4, Rows: 2, Pieces: 4, Points: 16}
	if h != want {
		t.Errorf("%+v, want %+v", h, want)
	}
	for _, c := range []struct {
		latitudeDeg, longitudeDeg float64
		land                      bool
		what                      string
	}{
		{12, 12, true, "the ring"},
		{17, 17, false, "its lake"},
		{5, 5, false, "the sea before it"},
		{25, 35, false, "the sea behind it"},
		{45, 2, true, "the headland east of Greenwich"},
		{45, -2, true, "the headland west of Greenwich"},
		{45, 44, true, "as far as its tip, which is at the coordinate that prints as _"},
		{45, 46, false, "and no farther"},
		{39, 1, false, "south of the headland"},
		{51, -1, false, "north of the headland"},
		{-17, 17, false, "another cell"},
	} {
		p, err := geo.At(c.latitudeDeg, c.longitudeDeg)
		if err != nil {
			t.Fatal(err)
		}
		if land, err := d.OnLand(p); err != nil || land != c.land {
			t.Errorf("%s: land %t, %v", c.what, land, err)
		}
	}
}

// Every corner comes back to half a step of the grid, 90 degrees in 65535: 76 m. That of the real data is 2 degrees.
func TestCornersComeBack(t *testing.T) {
	t.Parallel()
	d := turned(t)
	for _, c := range []struct {
		latitudeDeg, longitudeDeg float64
		name                      string
	}{
		{10, 10, "shore"},
		{30, 10, "shore"},
		{30, 30, "shore"},
		{15, 20, "shore of a lake or river"},
		{40, 0, "shore"},
		{45.0021, 45.0021, "shore"}, // the coordinate that prints as _: 32769 steps
		{45, -10, "shore"},
	} {
		p, err := geo.At(c.latitudeDeg, c.longitudeDeg)
		if err != nil {
			t.Fatal(err)
		}
		lines, err := d.Near(geo.NewPlane(p), 100_000)
		if err != nil {
			t.Fatal(err)
		}
		least, name := math.Inf(1), ""
		for _, l := range lines {
			for _, v := range l.Points {
				if apart := math.Hypot(v.EastM, v.NorthM); apart < least {
					least, name = apart, l.Name
				}
			}
		}
		if least > math.Sqrt2*77 || name != c.name {
			t.Errorf("%g %g: %s, %g m off", c.latitudeDeg, c.longitudeDeg, name, least)
		}
	}
	equator, err := geo.At(0, 0.2)
	if err != nil {
		t.Fatal(err)
	}
	if lines, err := d.Near(geo.NewPlane(equator), 100_000); err != nil || len(lines) != 0 {
		t.Errorf("the grounding line is there: %v, %v", lines, err)
	}
}

func TestTurnRefuses(t *testing.T) {
	t.Parallel()
	for name, change := range map[string][2]string{
		"no data":                   {"\ndata:\n", "\n"},
		"no version":                {":version", ":vision"},
		"no longitudes":             {"\n Relative_longitude_from_SW_corner_of_bin =", "\n Longitude ="},
		"no number":                 {"2660, 2724", "2660, many"},
		"cells not square":          {"longitude_range = 4", "longitude_range = 3"},
		"an unknown level":          {"2660, 2724", "2660, 3044"},
		"a segment of one point":    {"2660, 2724", "2660, 676"},
		"points that are missing":   {"13, 15 ;", "13, 150 ;"},
		"segments that are missing": {"N_segments_in_a_bin = 4", "N_segments_in_a_bin = 44"},
		"cells that are missing":    {"N_segments_in_a_bin = 4, 0, 0, 1, 0, 0, 0, 0", "N_segments_in_a_bin = 4, 0"},
	} {
		text := strings.Replace(small, change[0], change[1], 1)
		if text == small {
			t.Errorf("%s: nothing was changed", name)
		}
		if _, err := turn(text, "small.nc", ""); err == nil {
			t.Errorf("%s: turned all the same", name)
		}
	}
}

func TestRunSaysWhatIsWrong(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	odd := filepath.Join(folder, "odd.nc")
	if err := os.WriteFile(odd, []byte("no netCDF"), 0o644); err != nil {
		t.Fatal(err)
	}
	for source, want := range map[string]string{
		"":                               "-source",
		filepath.Join(folder, "none.nc"): "none.nc",
		odd:                              "netcdf-bin", // without ncdump, and with one that cannot read it
	} {
		err := run(source, filepath.Join(folder, "out.bin"), &bytes.Buffer{})
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want something of %s", source, err, want)
		}
	}
}
