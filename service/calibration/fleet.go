package calibration

import (
	"cmp"
	"slices"
)

// fleet is the observations in their canonical order, with vessels and canopies numbered by name.
// Nothing below it depends on the order they came in.
type fleet struct {
	observations      []Observation
	vessels, canopies []string
	rows              []row
	byVessel          [][]int  // rows of each vessel
	byCanopy          [][]int  // rows of each canopy that tell of it: its drifts
	pairs             [][2]int // each vessel with each canopy she lay to, as numbers, sorted
}

// row is one observation of the linear model
//
//	z = onWindage (muF + uF[vessel]) + onDrag (muD + uD[canopy]) + noise
//
// with mu the means of the fleet and u the departures of its members, all logarithms.
type row struct {
	vessel, canopy    int
	onWindage, onDrag float64
	kind              int // 0 drift, 1 load
	z                 float64
	deviation         float64 // of the noise, as stated
}

const kinds = 2

func arrange(observations []Observation) fleet {
	f := fleet{observations: slices.Clone(observations)}
	slices.SortFunc(f.observations, func(a, b Observation) int {
		return cmp.Or(cmp.Compare(a.Vessel, b.Vessel), cmp.Compare(a.Canopy, b.Canopy), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.ID, b.ID))
	})
	for _, o := range f.observations {
		f.vessels, f.canopies = append(f.vessels, o.Vessel), append(f.canopies, o.Canopy)
	}
	f.vessels, f.canopies = distinct(f.vessels), distinct(f.canopies)
	f.byVessel, f.byCanopy = make([][]int, len(f.vessels)), make([][]int, len(f.canopies))
	for i, o := range f.observations {
		r := row{z: o.logRatio(), deviation: o.deviation(), onWindage: 0.5, onDrag: -0.5}
		r.vessel, _ = slices.BinarySearch(f.vessels, o.Vessel)
		r.canopy, _ = slices.BinarySearch(f.canopies, o.Canopy)
		if o.Kind == Load {
			r.kind, r.onWindage, r.onDrag = 1, 1, 0
		} else {
			f.byCanopy[r.canopy] = append(f.byCanopy[r.canopy], i)
		}
		f.byVessel[r.vessel] = append(f.byVessel[r.vessel], i)
		f.rows = append(f.rows, r)
		f.pairs = append(f.pairs, [2]int{r.vessel, r.canopy})
	}
	f.pairs = slices.Compact(f.pairs) // the observations are sorted by vessel and canopy
	return f
}

func distinct(names []string) []string {
	slices.Sort(names)
	return slices.Compact(names)
}
