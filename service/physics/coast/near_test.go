package coast_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"rideout/service/physics/coast"
	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
)

// edges are places where the shores are hard to get right: many, across the date line, far north, at the ice.
var edges = []struct {
	name                      string
	latitudeDeg, longitudeDeg float64
}{
	{"Norway", 60.4, 4},
	{"Aegean", 37.5, 25.2},
	{"Fiji, west of the date line", -17.5, 179.5},
	{"Fiji, east of it", -17.5, -179.5},
	{"Wrangel Island, on it", 71, 180},
	{"Tromso", 70, 19},
	{"Svalbard", 78.5, 16},
	{"north of Greenland", 84.5, -35},
	{"Greenwich", 50.7, 0},
	{"Great Lakes", 45.5, -84},
	{"Antarctic Peninsula", -65, -64},
	{"Ross Sea", -77.5, 179},
	{"Gulf of Guinea", 0, 7},
}

// Nothing within the radius is missed, and no line keeps what is out of it: a wider look that is cut finds the same.
func TestNearKeepsToTheRadius(t *testing.T) {
	t.Parallel()
	for _, e := range edges {
		t.Run(e.name, func(t *testing.T) {
			t.Parallel()
			plane := planeAt(t, e.latitudeDeg, e.longitudeDeg)
			wide := inside(near(t, plane, 500_000), 200_000)
			got := near(t, plane, 200_000)
			if count(got) == 0 || count(got) != wide || inside(got, 200_000) != wide {
				t.Errorf("%d segments, %d of them in the radius; the wider look has %d there", count(got), inside(got, 200_000), wide)
			}
		})
	}
}

// inside counts the segments that come within the radius, by fine steps along them and not by the package's own rule.
func inside(lines []coast.Line, radiusM float64) int {
	n := 0
	for _, l := range lines {
		for i := 1; i < len(l.Points); i++ {
			a, b := l.Points[i-1], l.Points[i]
			least := math.Inf(1)
			for k := range 201 {
				t := float64(k) / 200
				least = math.Min(least, math.Hypot(a.EastM+t*(b.EastM-a.EastM), a.NorthM+t*(b.NorthM-a.NorthM)))
			}
			if least <= radiusM {
				n++
			}
		}
	}
	return n
}

// Pieces of neighbouring cells join to the last bit, so that no step slips between them: inside the radius every
// end belongs to two pieces, or to a ring.
func TestNearHasNoGaps(t *testing.T) {
	t.Parallel()
	for _, e := range edges {
		t.Run(e.name, func(t *testing.T) {
			t.Parallel()
			ends := map[geo.XY]int{}
			for _, l := range near(t, planeAt(t, e.latitudeDeg, e.longitudeDeg), 400_000) {
				ends[l.Points[0]]++
				ends[l.Points[len(l.Points)-1]]++
			}
			for p, n := range ends {
				if n%2 != 0 && math.Hypot(p.EastM, p.NorthM) < 400_000 {
					t.Errorf("a shore ends at %v", p)
				}
			}
		})
	}
}

// Two planes tell of the same shores: the distance from a place to the nearest is the same from either.
func TestNearFromAnotherOrigin(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(61, 62))
	for _, e := range edges {
		here := planeAt(t, e.latitudeDeg, e.longitudeDeg)
		first := coast.NewIndex(near(t, here, 300_000))
		for range 10 {
			p, err := here.Point(anywhere(r, 40_000))
			if err != nil {
				t.Fatal(err)
			}
			v, err := here.XY(p)
			if err != nil {
				t.Fatal(err)
			}
			_, one, _, ok1 := first.Nearest(v, 200_000)
			_, two, _, ok2 := coast.NewIndex(near(t, geo.NewPlane(p), 250_000)).Nearest(geo.XY{}, 200_000)
			// the first plane draws lengths up to s2/(6 R2) too long, 57 km from its origin, and bends what is straight in the other
			if ok1 != ok2 || math.Abs(one-two) > 1+one*(57e3+200e3)*(57e3+200e3)/(6*6.36e6*6.36e6) {
				t.Errorf("%s, %v: %g m, %t and %g m, %t", e.name, p, one, ok1, two, ok2)
			}
		}
	}
}

// Whether a place is land and where the shores run are read from the data in different ways. From a place to another
// the shores between are crossed an odd number of times if just one of the two is land.
func TestShoresPartLandFromWater(t *testing.T) {
	t.Parallel()
	for _, e := range edges {
		t.Run(e.name, func(t *testing.T) {
			t.Parallel()
			r := rand.New(rand.NewPCG(71, 72))
			plane := planeAt(t, e.latitudeDeg, e.longitudeDeg)
			lines := near(t, plane, 300_000)
			x := coast.NewIndex(lines)
			tried := 0
			for tried < 300 {
				a := anywhere(r, 150_000)
				if _, d, at, ok := x.Nearest(a, 20_000); ok { // about the shore both are common
					a = geo.XY{EastM: at.EastM + 3*(r.Float64()-0.5)*d, NorthM: at.NorthM + 3*(r.Float64()-0.5)*d}
				}
				jump := anywhere(r, 5000)
				b := geo.XY{EastM: a.EastM + jump.EastM, NorthM: a.NorthM + jump.NorthM}
				if onShore(x, a) || onShore(x, b) {
					continue // the shore is bent otherwise in degrees than in the plane
				}
				tried++
				if odd := crossings(lines, a, b)%2 == 1; odd != (landAt(t, plane, a) != landAt(t, plane, b)) {
					t.Errorf("from %v to %v: crossed an odd number of times: %t", a, b, odd)
				}
			}
		})
	}
}

func onShore(x coast.Index, p geo.XY) bool {
	_, _, _, ok := x.Nearest(p, 5)
	return ok
}

func crossings(lines []coast.Line, a, b geo.XY) int {
	left := func(p, q, r geo.XY) bool {
		return (q.EastM-p.EastM)*(r.NorthM-p.NorthM) > (q.NorthM-p.NorthM)*(r.EastM-p.EastM)
	}
	n := 0
	for _, l := range lines {
		for i := 1; i < len(l.Points); i++ {
			p, q := l.Points[i-1], l.Points[i]
			if left(a, b, p) != left(a, b, q) && left(p, q, a) != left(p, q, b) {
				n++
			}
		}
	}
	return n
}

func landAt(t *testing.T, plane geo.Plane, v geo.XY) bool {
	t.Helper()
	p, err := plane.Point(v)
	if err != nil {
		t.Fatal(err)
	}
	land, err := coast.OnLand(p)
	if err != nil {
		t.Fatal(err)
	}
	return land
}

// On the lines between cells, where the reading of the data changes over, a place is what is beside it.
func TestLandOnTheEdgesOfCells(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(81, 82))
	edge := func(span int) float64 { return 2 * float64(r.IntN(span+1)-span/2) }
	for range 4000 {
		latitude, longitude := edge(88), 360*(r.Float64()-0.5)
		if r.IntN(2) == 0 {
			latitude, longitude = 178*(r.Float64()-0.5), edge(180)
		}
		p := at(t, latitude, longitude)
		land, err := coast.OnLand(p)
		if err != nil {
			t.Fatal(err)
		}
		plane := geo.NewPlane(p)
		if lines := near(t, plane, 5000); len(lines) > 0 {
			continue
		}
		for _, v := range []geo.XY{xy(1000, 1000), xy(-1000, 1000), xy(-1000, -1000), xy(1000, -1000)} {
			if landAt(t, plane, v) != land {
				t.Errorf("%g %g: land %t, and not so at %v from there", latitude, longitude, land, v)
			}
		}
	}
}

func TestLinesAreNamed(t *testing.T) {
	t.Parallel()
	seen := map[string]int{}
	for _, l := range near(t, planeAt(t, 45.8, -82.2), 200_000) {
		seen[l.Name]++
	}
	for _, name := range []string{"shore of a lake or river", "shore of an island in a lake", "shore of a pond"} {
		if seen[name] == 0 {
			t.Errorf("no %s about Manitoulin, in Lake Huron: %v", name, seen)
		}
	}
	for _, l := range near(t, planeAt(t, 62, -7), 100_000) {
		if l.Name != "shore" && l.Name != "shore of a lake or river" {
			t.Errorf("%s at the Faroes", l.Name)
		}
	}
}

// The sentence about what is missing is true of these data: rocks well known to seamen are not in them. Rockall and the
// Bishop Rock are. Places from memory.
func TestRocksAreMissing(t *testing.T) {
	t.Parallel()
	for name, p := range map[string]geo.Point{
		"Fastnet Rock": at(t, 51.389, -9.603), "Wolf Rock": at(t, 49.945, -5.808), "Eddystone Rocks": at(t, 50.180, -4.265),
		"Skerryvore": at(t, 56.323, -7.114), "St Peter and St Paul Rocks": at(t, 0.917, -29.345),
	} {
		if _, d, _, ok := coast.NewIndex(near(t, geo.NewPlane(p), 100_000)).Nearest(geo.XY{}, 2000); ok {
			t.Errorf("%s: a shore at %.0f m", name, d)
		}
	}
}

func TestNearRefuses(t *testing.T) {
	t.Parallel()
	var out *quantity.RangeError
	for _, radius := range []float64{-1, coast.ReachM + 1, math.NaN(), math.Inf(1)} {
		if _, err := coast.Near(planeAt(t, 0, 0), radius); !errors.As(err, &out) || out.Name != "radius" {
			t.Errorf("radius %g: %v", radius, err)
		}
	}
	nowhere := geo.Point{Latitude: 2}
	if _, err := coast.OnLand(nowhere); !errors.As(err, &out) || out.Name != "latitude" {
		t.Errorf("a latitude of 2 rad: %v", err)
	}
	if _, err := coast.Near(geo.NewPlane(nowhere), 100_000); !errors.As(err, &out) {
		t.Errorf("a plane about a latitude of 2 rad: %v", err)
	}
	if lines, err := coast.Near(planeAt(t, 45, -30), 0); err != nil || len(lines) != 0 {
		t.Errorf("no radius: %v, %v", lines, err)
	}
}
