// Package coast tells where land is: the shore lines within some hundred kilometres of a place as lines in its
// plane, whether a place is land, and which line a step over the plane meets first.
//
// The shores are those of GSHHG 2.3.7, the Global Self-consistent, Hierarchical, High-resolution Geography Database of
// P. Wessel and W. H. F. Smith, at its high resolution, under the GNU Lesser General Public License 3 or later:
// LICENSE.gshhg, beside this file. coast.bin holds every shore point of theirs, turned by cmd/coastline.
// Rivers, borders, and the line where Antarctica's ice goes afloat are left out; the front of the ice is shore.
//
// How far a drawn shore stands from the real one, in the order of size:
//   - the source surveys, of a scale of 1:250,000: 9 tenths of the shore within 500 m, from memory; lakes are worse;
//   - the thinning from full to high resolution: 200 m, the tolerance of the Douglas-Peucker reduction (GMT, pscoast.c,
//     its heading);
//   - the grid of the file, which is the source's own: half of one 65535th of two degrees each way, 1.7 m along the
//     meridian, less along a parallel.
//
// The line is about that of mean high water. See Missing for what is in no such data at all.
//
// Source: Wessel and Smith (1996), J. Geophys. Res. 101, 8741-8743.
package coast

import (
	_ "embed"

	"rideout/service/physics/geo"
)

const (
	// ReachM is the largest radius of Near, in m.
	ReachM = 600_000.0

	// Missing is the sentence every answer carries that rests on these shores.
	Missing = "Many islets and rocks, and every shoal, are missing from the shore lines used here, and a shore may stand some " +
		"hundred metres from where it is drawn: use the chart, and give the dangers it shows as hazards."
)

// Line is a shore or a hazard in a plane: the straight pieces from point to point, closed if the last point is the
// first. One point is a line too, without length. A line has no inside: what is drawn as a ring is met at its edge alone.
type Line struct {
	Name   string
	Points []geo.XY
}

//go:embed coast.bin
var world string

// World is the coast of the world.
func World() (Data, error) { return Open(world) }

// Near returns the shores of the world within a radius of the plane's origin: Data.Near of World.
func Near(plane geo.Plane, radiusM float64) ([]Line, error) {
	w, err := World()
	if err != nil {
		return nil, err
	}
	return w.Near(plane, radiusM)
}

// OnLand tells whether a point of the world is land: Data.OnLand of World.
func OnLand(p geo.Point) (bool, error) {
	w, err := World()
	if err != nil {
		return false, err
	}
	return w.OnLand(p)
}
