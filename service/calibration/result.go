package calibration

import (
	"math"
	"slices"

	"rideout/service/physics/quantity"
)

// counts is how many observations of each kind a member has.
type counts struct{ drifts, loads int }

func (n counts) all() int { return n.drifts + n.loads }

func (n *counts) add(r row) {
	if r.onDrag == 0 {
		n.loads++
		return
	}
	n.drifts++
}

// result turns the chain's record into factors and words.
func (f fleet) result(rec *record, prior Prior) Result {
	whole, vessels, canopies, pairs := f.counted()
	result := Result{
		Fleet: f.middle(rec, prior, whole), Unseen: unseen(rec),
		BetweenVessels: bandOf(rec.between[0]), BetweenCanopies: bandOf(rec.between[1]),
		DriftNoise: bandOf(rec.noise[0]), LoadNoise: bandOf(rec.noise[1]),
		Outliers: f.outliers(rec), Notes: notes(whole), N: whole.all(),
	}
	windage, drag := f.logarithms(rec)
	for i, name := range f.vessels {
		factor := factorOf(windage[i], vessels[i].all(), result.Unseen.Windage.LogSD)
		result.Vessels = append(result.Vessels, Vessel{name, factor, noteOf(factor, "vessels", vessels[i].loads > 0)})
	}
	for i, name := range f.canopies {
		factor := factorOf(drag[i], canopies[i].drifts, result.Unseen.Drag.LogSD)
		result.Canopies = append(result.Canopies, Canopy{name, factor, noteOf(factor, "canopies", true)})
	}
	for i, p := range f.pairs {
		factor := factorOf(halfDifference(windage[p[0]], drag[p[1]]), pairs[i].drifts, result.Unseen.Drift.LogSD)
		result.Pairs = append(result.Pairs, Pair{f.vessels[p[0]], f.canopies[p[1]], factor})
	}
	return result
}

// counted counts the observations of the fleet, of each member and of each pair.
func (f fleet) counted() (whole counts, vessels, canopies, pairs []counts) {
	vessels, canopies, pairs = make([]counts, len(f.vessels)), make([]counts, len(f.canopies)), make([]counts, len(f.pairs))
	pair := 0
	for _, r := range f.rows { // sorted as the pairs are
		if f.pairs[pair] != [2]int{r.vessel, r.canopy} {
			pair++
		}
		for _, n := range []*counts{&whole, &vessels[r.vessel], &canopies[r.canopy], &pairs[pair]} {
			n.add(r)
		}
	}
	return whole, vessels, canopies, pairs
}

// logarithms turns the draws of departures into those of ln f of each vessel and ln d of each canopy,
// in their place.
func (f fleet) logarithms(rec *record) (windage, drag [][]float64) {
	v, n := len(f.vessels), len(f.vessels)+len(f.canopies)
	for u, draws := range rec.unknowns[:n] {
		mean := rec.unknowns[n]
		if u >= v {
			mean = rec.unknowns[n+1]
		}
		for i, m := range mean {
			draws[i] += m
		}
	}
	return rec.unknowns[:v], rec.unknowns[v:n]
}

// middle gives the factors of the middle of the fleet, beside its prior.
func (f fleet) middle(rec *record, prior Prior, whole counts) FactorPair {
	n := len(f.vessels) + len(f.canopies)
	windage, drag := rec.unknowns[n], rec.unknowns[n+1]
	return FactorPair{
		Windage: factorOf(windage, whole.all(), prior.WindageFleetSD),
		Drag:    factorOf(drag, whole.drifts, prior.DragFleetSD),
		Drift:   factorOf(halfDifference(windage, drag), whole.drifts, math.Hypot(prior.WindageFleetSD, prior.DragFleetSD)/2),
	}
}

// unseen gives the factors of a vessel and a canopy without outcomes.
func unseen(rec *record) FactorPair {
	windage, drag := rec.unseen[0], rec.unseen[1]
	drift := halfDifference(windage, drag)
	return FactorPair{
		Windage: factorOf(windage, 0, deviationOf(windage)),
		Drag:    factorOf(drag, 0, deviationOf(drag)),
		Drift:   factorOf(drift, 0, deviationOf(drift)),
	}
}

// factorOf makes a factor from draws of its logarithm. Beside is the deviation of one of which
// nothing was observed.
func factorOf(draws []float64, observations int, beside float64) Factor {
	sd := deviationOf(draws)
	low, mid, high := quantiles(draws)
	return Factor{
		Low: math.Exp(low), Mid: math.Exp(mid), High: math.Exp(high),
		LogSD: sd, Observations: observations, ShrunkToFleet: math.Min(sq(sd/beside), 1),
	}
}

func bandOf(draws []float64) quantity.Band {
	low, mid, high := quantiles(draws)
	return quantity.Band{Low: low, Mid: mid, High: high}
}

// halfDifference gives the draws of (ln f - ln d)/2.
func halfDifference(f, d []float64) []float64 {
	draws := slices.Clone(f)
	for i, x := range d {
		draws[i] = (draws[i] - x) / 2
	}
	return draws
}

func deviationOf(draws []float64) float64 {
	var total, squares float64
	for _, x := range draws {
		total += x
	}
	mean := total / float64(len(draws))
	for _, x := range draws {
		squares += sq(x - mean)
	}
	return math.Sqrt(squares / float64(len(draws)-1))
}
