package drift

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"

	"rideout/service/physics/geo"
)

// Fix is a place at an instant.
type Fix struct {
	AtH   float64
	Point geo.Point
}

// Track is the way of the vessel without errors.
type Track struct {
	Fixes  []Fix // at every full hour, the instants asked for, and the end
	Ashore When  // where she stays from then on
	Line   int   // the obstacle, if Ashore is within the forecast
}

// LineReach is when and how likely one of the obstacles is reached, as the first.
type LineReach struct {
	Line int
	Reach
}

// Ensemble is what became of the particles of a case. The zero value is none. Safe to read from many goroutines.
type Ensemble struct {
	Mid    Track
	Mean   []Fix       // the mean place of all particles, those ashore included
	Ashore Reach       // of the first obstacle, whichever it is
	Lines  []LineReach // the obstacles reached by at least one particle, the likeliest first

	plane  geo.Plane
	marksH []float64
	kept   [][]geo.XY // by mark, then by particle
}

// Run carries the particles of a case to its end, or ashore, where they stay.
//
// Numerical error: a vessel without errors keeps within 1e-6 of her way of the true line, for ways up to 500 km from
// starts to 70 degrees of latitude, within 1e-5 to 1,000 km; obstacles are met on the straight line of each step of
// at most 15 min.
// Limits of the theory: one forecast for the whole area, so it must not be so large that wind or current differ over
// it; a particle that touches a shore is ashore for good; the wind's error bears on the drift through the water
// alone, not on the current.
func Run(c Case) (Ensemble, error) {
	if err := c.check(); err != nil {
		return Ensemble{}, err
	}
	e := Ensemble{plane: geo.NewPlane(c.Start), marksH: c.marksOf()}
	w := walk{frame: frameAbout(c.Start), steps: c.stepsOf(e.marksH), obstacles: c.Obstacles}
	if err := e.carryMid(&w); err != nil {
		return Ensemble{}, err
	}
	e.carryAll(&w, c)
	return e, e.average()
}

func (e *Ensemble) carryMid(w *walk) error {
	places := make([]geo.XY, len(e.marksH))
	end := w.run(particle{}, nil, nil, func(mark int, at geo.XY) { places[mark] = at })
	e.Mid.Ashore, e.Mid.Line = When{end.atH, end.ashore}, end.line
	var err error
	e.Mid.Fixes, err = e.fixes(places)
	return err
}

func (e *Ensemble) carryAll(w *walk, c Case) {
	e.kept = make([][]geo.XY, len(e.marksH))
	for m := range e.kept {
		e.kept[m] = make([]geo.XY, c.Particles)
	}
	sigmaM := c.Spread.PositionM.Mid / math.Sqrt(2*math.Ln2) // half of a circular normal lies within sqrt(2 ln 2) of it
	var streams chance
	lot, noise := rand.New(&streams.lot), rand.New(&streams.noise)
	var all []float64
	lines := map[int][]float64{}
	for i := range c.Particles {
		streams.seed(c.Seed, i)
		end := w.run(w.draw(lot, sigmaM), lot, noise, func(mark int, at geo.XY) { e.kept[mark][i] = at })
		if end.ashore {
			all = append(all, end.atH)
			lines[end.line] = append(lines[end.line], end.atH)
		}
	}
	forecastH := e.marksH[len(e.marksH)-1]
	e.Ashore = reachOf(all, c.Particles, forecastH)
	for _, line := range slices.Sorted(maps.Keys(lines)) {
		e.Lines = append(e.Lines, LineReach{line, reachOf(lines[line], c.Particles, forecastH)})
	}
	slices.SortStableFunc(e.Lines, func(a, b LineReach) int { return cmp.Compare(len(b.TimesH), len(a.TimesH)) })
}

// average finds the mean places.
func (e *Ensemble) average() error {
	places := make([]geo.XY, len(e.marksH))
	for m, cloud := range e.kept {
		places[m] = meanOf(cloud)
	}
	var err error
	e.Mean, err = e.fixes(places)
	return err
}

func meanOf(cloud []geo.XY) geo.XY {
	var sum geo.XY
	for _, p := range cloud {
		sum.EastM += p.EastM
		sum.NorthM += p.NorthM
	}
	n := float64(len(cloud))
	return geo.XY{EastM: sum.EastM / n, NorthM: sum.NorthM / n}
}

func (e *Ensemble) fixes(places []geo.XY) ([]Fix, error) {
	fixes := make([]Fix, len(places))
	for m, xy := range places {
		p, err := e.plane.Point(xy)
		if err != nil {
			return nil, err
		}
		fixes[m] = Fix{e.marksH[m], p}
	}
	return fixes, nil
}

// Cloud returns the places of all particles at one of the instants kept, in the plane about the start, in m. It is
// the ensemble's own and must not be changed.
func (e *Ensemble) Cloud(atH float64) ([]geo.XY, error) {
	for m, h := range e.marksH {
		if math.Abs(h-atH) < sameH {
			return e.kept[m], nil
		}
	}
	return nil, fmt.Errorf("no places are kept at %g h", atH)
}
