package drift

import (
	"math"
	"slices"

	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
)

// corners of the polygon that stands for an ellipse: drawn about it, it is 0.1 % larger.
const corners = 64

// leastM is the least half axis of a region: it gives a cloud without extent one that can be drawn.
const leastM = 1.0

// Region is an area in which she is at an instant with a stated probability.
type Region struct {
	Share                  float64
	Centre                 geo.Point
	SemiMajorM, SemiMinorM float64     // of the ellipse
	AreaM2                 float64     // of the polygon
	Ring                   []geo.Point // the polygon, counterclockwise, the first corner again at the end
}

// Regions returns an area for each share (0.01 to 0.99), at one of the instants kept: the ellipse of the cloud's
// covariance, as large as it must be to hold that share of the particles. It thus holds that share of any other
// such cloud too, whatever its form; a crooked or divided cloud has smaller areas that do, with a less simple outline.
// Particles ashore count, and an ellipse may lie over land, where she is not.
//
// Source: Mahalanobis (1936) for the distance; the particle on the rim has the rank ceil(share (n + 1)), with which a new
// particle falls inside with probability share or a little more, by exchangeability (derived here).
func (e *Ensemble) Regions(atH float64, shares ...float64) ([]Region, error) {
	cloud, err := e.Cloud(atH)
	if err != nil {
		return nil, err
	}
	form := formOf(cloud)
	distances := make([]float64, len(cloud))
	for i, p := range cloud {
		distances[i] = form.distance(p)
	}
	slices.Sort(distances)
	regions := make([]Region, len(shares))
	for i, share := range shares {
		if err := quantity.Within("share held", share, 0.01, 0.99, ""); err != nil {
			return nil, err
		}
		rank := int(math.Ceil(share * float64(len(cloud)+1)))
		if regions[i], err = e.region(form, share, distances[rank-1]); err != nil {
			return nil, err
		}
	}
	return regions, nil
}

// ellipse is the form of a cloud: its middle, the direction of its long axis, and a standard deviation along
// and across it.
type ellipse struct {
	centre         geo.XY
	eastly, northy float64 // unit vector along the long axis
	along, across  float64 // m
}

// formOf gives the principal axes of a cloud's covariance.
func formOf(cloud []geo.XY) ellipse {
	centre := meanOf(cloud)
	var ee, en, nn float64
	for _, p := range cloud {
		east, north := p.EastM-centre.EastM, p.NorthM-centre.NorthM
		ee += east * east
		en += east * north
		nn += north * north
	}
	n := float64(len(cloud))
	ee, en, nn = ee/n, en/n, nn/n
	middle, half := (ee+nn)/2, math.Hypot((ee-nn)/2, en)
	north, east := math.Sincos(math.Atan2(2*en, ee-nn) / 2)
	return ellipse{
		centre: centre, eastly: east, northy: north,
		along: math.Max(math.Sqrt(middle+half), leastM), across: math.Max(math.Sqrt(math.Max(0, middle-half)), leastM),
	}
}

// distance is Mahalanobis's: from the centre, in standard deviations.
func (f ellipse) distance(p geo.XY) float64 {
	east, north := p.EastM-f.centre.EastM, p.NorthM-f.centre.NorthM
	return math.Hypot((east*f.eastly+north*f.northy)/f.along, (north*f.eastly-east*f.northy)/f.across)
}

// region draws the ellipse through a distance in standard deviations.
func (e *Ensemble) region(f ellipse, share, distance float64) (Region, error) {
	major, minor := math.Max(distance*f.along, leastM), math.Max(distance*f.across, leastM)
	centre, err := e.plane.Point(f.centre)
	if err != nil {
		return Region{}, err
	}
	r := Region{
		Share: share, Centre: centre, SemiMajorM: major, SemiMinorM: minor,
		AreaM2: corners * math.Tan(math.Pi/corners) * major * minor,
	}
	about := 1 / math.Cos(math.Pi/corners) // corners lie outside, so that edges touch
	for k := range corners {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / corners)
		along, across := about*major*cos, about*minor*sin
		corner, err := e.plane.Point(geo.XY{
			EastM:  f.centre.EastM + along*f.eastly - across*f.northy,
			NorthM: f.centre.NorthM + along*f.northy + across*f.eastly,
		})
		if err != nil {
			return Region{}, err
		}
		r.Ring = append(r.Ring, corner)
	}
	r.Ring = append(r.Ring, r.Ring[0])
	return r, nil
}
