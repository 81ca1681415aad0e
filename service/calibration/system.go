package calibration

import (
	"math"
	"math/rand/v2"
	"slices"
)

// system is the normal law of all means and departures together, given the noise of each observation
// and the deviations between members. The unknowns are numbered: vessels, canopies, then the fleet's
// two means.
//
// Members of one side (the leaves, the more numerous) never share an observation, so they are
// eliminated one by one. What remains, the core, is factored within its envelope: it is ordered along
// the ties between its members, so that parts of a fleet that share nothing cost nothing together.
type system struct {
	vessels, canopies int
	leaves            []leaf
	place             []int // of an unknown: its place in the core, or -1-l for leaf l
	entries           [][]entry
	core              envelope
	rhs               []float64 // of the core
}

// leaf is an eliminated unknown: its number, diagonal and right-hand side, and its ties to the core.
type leaf struct {
	unknown   int
	diagonal  float64
	rhs       float64
	places    []int     // in the core, ascending
	couplings []float64 // one for each place
}

// entry is one unknown's part in an observation.
type entry struct {
	place  int // as in system.place
	on     float64
	inLeaf int // for a core unknown of an observation with a leaf: where the leaf keeps its coupling
}

// group tells the kind of an unknown: 0 a vessel, 1 a canopy, 2 and 3 the fleet's means.
func group(unknown, vessels, members int) int {
	switch {
	case unknown < vessels:
		return 0
	case unknown < members:
		return 1
	}
	return 2 + unknown - members
}

func newSystem(f fleet) *system {
	v, c := len(f.vessels), len(f.canopies)
	s := &system{vessels: v, canopies: c, place: make([]int, v+c+2)}
	first, count := 0, v // the leaves: vessels, unless canopies are more
	if c > v {
		first, count = v, c
	}
	for l := range count {
		s.place[first+l] = -1 - l
		s.leaves = append(s.leaves, leaf{unknown: first + l})
	}
	order := alongTies(f, first == 0)
	for i, u := range append(order, v+c, v+c+1) {
		s.place[u] = i
	}
	s.tie(f)
	return s
}

// alongTies orders the side that is not eliminated by walking, breadth first, from member to member
// through the other side. Walking keeps what is tied close together (Cuthill and McKee 1969).
func alongTies(f fleet, vesselsAreLeaves bool) []int {
	v, c := len(f.vessels), len(f.canopies)
	neighbours := make([][]int, v+c)
	for _, p := range f.pairs {
		neighbours[p[0]] = append(neighbours[p[0]], v+p[1])
		neighbours[v+p[1]] = append(neighbours[v+p[1]], p[0])
	}
	from, to := v, v+c
	if !vesselsAreLeaves {
		from, to = 0, v
	}
	var order []int
	seen := make([]bool, v+c)
	for start := from; start < to; start++ {
		if seen[start] {
			continue
		}
		seen[start] = true
		for queue := []int{start}; len(queue) > 0; queue = queue[1:] {
			u := queue[0]
			if u >= from && u < to {
				order = append(order, u)
			}
			for _, w := range neighbours[u] {
				if !seen[w] {
					seen[w] = true
					queue = append(queue, w)
				}
			}
		}
	}
	return order
}

// tie lays out which unknowns each observation couples, and the envelope that elimination fills.
func (s *system) tie(f fleet) {
	means := s.vessels + s.canopies
	for _, r := range f.rows {
		e := []entry{{place: s.place[r.vessel], on: r.onWindage}, {place: s.place[means], on: r.onWindage}}
		if r.onDrag != 0 {
			e = append(e, entry{place: s.place[s.vessels+r.canopy], on: r.onDrag}, entry{place: s.place[means+1], on: r.onDrag})
		}
		slices.SortFunc(e, func(a, b entry) int { return a.place - b.place }) // the leaf, if any, first
		s.entries = append(s.entries, e)
		if e[0].place < 0 {
			l := &s.leaves[-1-e[0].place]
			for _, core := range e[1:] {
				l.places = append(l.places, core.place)
			}
		}
	}
	s.core = newEnvelope(len(s.place) - len(s.leaves))
	s.rhs = make([]float64, s.core.size())
	for i := range s.leaves {
		l := &s.leaves[i]
		slices.Sort(l.places)
		l.places = slices.Compact(l.places)
		l.couplings = make([]float64, len(l.places))
		for _, p := range l.places {
			s.core.reach(p, l.places[0])
		}
	}
	for _, e := range s.entries {
		if e[0].place < 0 {
			for j := range e[1:] {
				e[j+1].inLeaf, _ = slices.BinarySearch(s.leaves[-1-e[0].place].places, e[j+1].place)
			}
			continue
		}
		for _, core := range e {
			s.core.reach(core.place, e[0].place)
		}
	}
	s.core.allocate()
}

// set fills in the precision of each observation's noise and the prior precision of each unknown.
//
// prior is that of a vessel, a canopy, and the fleet's two means.
func (s *system) set(rows []row, precision []float64, prior [4]float64) {
	s.core.clear()
	clear(s.rhs)
	for u, p := range s.place {
		own := prior[group(u, s.vessels, s.vessels+s.canopies)]
		if p >= 0 {
			s.core.add(p, p, own)
			continue
		}
		l := &s.leaves[-1-p]
		l.diagonal, l.rhs = own, 0
		clear(l.couplings)
	}
	for i, e := range s.entries {
		w, z := precision[i], rows[i].z
		if e[0].place < 0 {
			l, on := &s.leaves[-1-e[0].place], e[0].on
			l.diagonal += w * on * on
			l.rhs += w * on * z
			e = e[1:]
			for _, core := range e {
				l.couplings[core.inLeaf] += w * on * core.on
			}
		}
		for j, a := range e {
			s.rhs[a.place] += w * a.on * z
			for _, b := range e[:j+1] {
				s.core.add(a.place, b.place, w*a.on*b.on)
			}
		}
	}
	s.eliminate()
}

// eliminate takes the leaves out of the core's equations and factors what remains.
func (s *system) eliminate() {
	for _, l := range s.leaves {
		for i, a := range l.couplings {
			q := a / l.diagonal
			s.rhs[l.places[i]] -= q * l.rhs
			for j, b := range l.couplings[:i+1] {
				s.core.add(l.places[i], l.places[j], -q*b)
			}
		}
	}
	s.core.factor()
}

// draw writes the mean of the unknowns and one departure from it, distributed as theirs.
func (s *system) draw(rng *rand.Rand, mean, departure []float64) {
	m, d := slices.Clone(s.rhs), make([]float64, s.core.size())
	for i := range d {
		d[i] = rng.NormFloat64()
	}
	s.core.forward(m)
	s.core.backward(m)
	s.core.backward(d)
	for u, p := range s.place {
		if p >= 0 {
			mean[u], departure[u] = m[p], d[p]
		}
	}
	for _, l := range s.leaves {
		sum, away := l.rhs, rng.NormFloat64()*math.Sqrt(l.diagonal)
		for i, c := range l.couplings {
			sum -= c * m[l.places[i]]
			away -= c * d[l.places[i]]
		}
		mean[l.unknown], departure[l.unknown] = sum/l.diagonal, away/l.diagonal
	}
}
