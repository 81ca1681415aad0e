package coast_test

import (
	"fmt"
	"math"
	"testing"

	"rideout/service/physics/coast"
	"rideout/service/physics/geo"
)

// What cmd/coastline printed when it wrote the file, and what is in the file.
func TestWorldIsWhatTheToolWrote(t *testing.T) {
	t.Parallel()
	world, err := coast.World()
	if err != nil {
		t.Fatal(err)
	}
	want := coast.Header{
		Source:  "GSHHG 2.3.7, binned_GSHHS_h.nc",
		SHA256:  "5186f7ae41c6a18807582423b3b5ae5892e78b19bf6c7c792377baa8592830fc",
		Columns: 180, Rows: 90, Pieces: 164441, Points: 1949587, Bytes: 5507675,
	}
	if world.Header() != want {
		t.Errorf("%+v, want %+v", world.Header(), want)
	}
	if err := world.Check(); err != nil {
		t.Error(err)
	}
}

func TestOpenRefuses(t *testing.T) {
	t.Parallel()
	for name, text := range map[string]string{
		"nothing":             "",
		"no end of the head":  "coast 1\ncolumns 2\nrows 1\n",
		"another form":        "coast 2\ncolumns 2\nrows 1\nbytes 0\n\n12345678",
		"no number":           "coast 1\ncolumns two\nrows 1\nbytes 0\n\n12345678",
		"cells not square":    "coast 1\ncolumns 3\nrows 1\nbytes 0\n\n123456781234",
		"no cells":            "coast 1\ncolumns 0\nrows 0\nbytes 0\n\n",
		"fewer than none":     "coast 1\ncolumns -2\nrows -1\nbytes 8\n\n",
		"too short":           "coast 1\ncolumns 2\nrows 1\nbytes 1\n\n12345678",
		"cells without bound": "coast 1\ncolumns 4000000000\nrows 2000000000\nbytes 0\n\n",
	} {
		if _, err := coast.Open(text); err == nil {
			t.Errorf("%s: taken for a coast", name)
		}
	}
	if err := mustOpen(t, 2, 3, "").Check(); err == nil {
		t.Error("a head that counts pieces which are not there passes its check")
	}
}

func TestZeroDataIsWater(t *testing.T) {
	t.Parallel()
	var none coast.Data
	if land, err := none.OnLand(at(t, 0, 0)); land || err != nil {
		t.Errorf("land %t, %v", land, err)
	}
	if lines, err := none.Near(planeAt(t, 0, 0), 1e5); len(lines) != 0 || err != nil {
		t.Errorf("%v, %v", lines, err)
	}
}

// mustOpen makes a coast of two cells of 180 degrees, the first of which holds the bytes.
func mustOpen(t testing.TB, pieces, points int, packed string) coast.Data {
	t.Helper()
	end := 2 * len(packed)
	index := string([]byte{1, 0, 0, 0, byte(end), byte(end >> 8), byte(end >> 16), byte(end >> 24)})
	d, err := coast.Open(fmt.Sprintf("coast 1\ncolumns 2\nrows 1\npieces %d\npoints %d\nbytes %d\n\n%s%s", pieces, points, len(packed), index, packed))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestCellsOutOfForm(t *testing.T) {
	t.Parallel()
	// one piece, level 1, open
	begin := []field{{1, 5}, {1, 1}, {0, 2}, {0, 1}}
	two := append(begin[:4:4], field{1, 5}, field{1, 1}, field{100, 16}, field{100, 16}) // of a point and one step
	for name, fields := range map[string][]field{
		"cut short":                   begin,
		"a step cut short":            append(two[:8:8], field{16, 5}, field{16, 5}, field{1, 1}),
		"a step over the cell's edge": append(two[:8:8], field{9, 5}, field{9, 5}, field{201, 9}, field{0, 9}),
	} {
		packed := pack(fields)
		d := mustOpen(t, 1, 2, packed)
		if err := d.Check(); err == nil {
			t.Errorf("%s: passes its check", name)
		}
		if _, err := d.OnLand(at(t, 20, 60)); err == nil {
			t.Errorf("%s: says where land is", name)
		}
		if _, err := d.Near(planeAt(t, -85, 100), coast.ReachM); err == nil {
			t.Errorf("%s: gives shores", name)
		}
	}
}

// field is a number and its width in bits; pack puts such in a stream, lowest bit first.
type field struct{ value, width int }

func pack(fields []field) string {
	var packed []byte
	at := 0
	for _, f := range fields {
		for bit := range f.width {
			if at%8 == 0 {
				packed = append(packed, 0)
			}
			packed[at/8] |= byte(f.value>>bit&1) << (at % 8)
			at++
		}
	}
	return string(packed)
}

// Whatever stands in a cell, reading it ends, with an error or with lines of finite points.
func FuzzCell(f *testing.F) {
	f.Add("")
	f.Add("\x00")
	f.Add(pack([]field{ // a ring of three points and their first again
		{1, 5}, {1, 1}, {0, 2}, {1, 1}, {2, 5}, {2, 2}, {30000, 16}, {2000, 16}, {10, 5}, {10, 5}, {800, 10}, {0, 10}, {0, 10}, {600, 10},
	}))
	f.Fuzz(func(t *testing.T, packed string) {
		d := mustOpen(t, 1, 4, packed)
		_ = d.Check()
		_, _ = d.OnLand(at(t, 20, 60))
		lines, err := d.Near(planeAt(t, -85, 100), coast.ReachM)
		if err != nil && len(lines) != 0 {
			t.Errorf("lines beside an error: %v", err)
		}
		for _, l := range lines {
			for _, p := range l.Points {
				if math.IsNaN(p.EastM+p.NorthM) || math.IsInf(p.EastM+p.NorthM, 0) {
					t.Fatalf("%v", p)
				}
			}
		}
		coast.NewIndex(lines).Nearest(geo.XY{}, 1e5)
	})
}
