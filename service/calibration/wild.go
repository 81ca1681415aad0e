package calibration

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// A wild observation lies anywhere about what was expected: its logarithm has this deviation, a
// factor of 7 either way, which holds a speed in knots taken for m/s and a load in lbf taken for N.
// Our choice, no source.
const wildDeviation = 2.0

// deviation is that of an observation's noise, if it is wild or if it is sound.
func (c *chain) deviation(i int, wild bool) float64 {
	if wild {
		return wildDeviation
	}
	r := c.fleet.rows[i]
	return c.noise[r.kind] * r.deviation
}

// drawWild tells the wild observations from the sound ones, and draws their share.
func (c *chain) drawWild() {
	if c.prior.WildShare == 0 {
		return
	}
	for v, rows := range c.fleet.byVessel {
		on := func(r row) float64 { return r.onWindage }
		c.vessels[v] = c.sortOut(rows, on, c.vessels[v], c.between[0])
	}
	for k, rows := range c.fleet.byCanopy {
		on := func(r row) float64 { return r.onDrag }
		c.canopies[k] = c.sortOut(rows, on, c.canopies[k], c.between[1])
	}
	wild := 0.0
	for _, w := range c.wild {
		if w {
			wild++
		}
	}
	share := distuv.Beta{
		Alpha: wildWeight*c.prior.WildShare + wild,
		Beta:  wildWeight*(1-c.prior.WildShare) + float64(len(c.wild)) - wild,
		Src:   c.rng,
	}.Rand()
	c.wildShare = math.Max(share, 1e-9) // a share that rounds to none would leave no finite odds
}

// sortOut tells which of a member's observations are wild and returns a new departure for her.
//
// Each is held against what her other observations and the fleet say, not against her present
// departure, which it may have made itself: where a member has one observation, far off, the chain
// would else believe it for hundreds of sweeps.
func (c *chain) sortOut(rows []int, on func(row) float64, departure, between float64) float64 {
	precision, pull := 1/sq(between), 0.0
	apart := c.apart[:len(rows)] // what is left of each without the member
	for j, i := range rows {
		r := c.fleet.rows[i]
		apart[j] = c.residual(r) + on(r)*departure
		precision += c.precision[i] * sq(on(r))
		pull += c.precision[i] * on(r) * apart[j]
	}
	for j, i := range rows {
		a := on(c.fleet.rows[i])
		precision = math.Max(precision-c.precision[i]*sq(a), 1/sq(between)) // rounding takes no more than the data gave
		pull -= c.precision[i] * a * apart[j]

		e, variance := apart[j]-a*pull/precision, sq(a)/precision
		odds := (1 - c.wildShare) / c.wildShare * normalRatio(e, sq(c.deviation(i, false))+variance, sq(wildDeviation)+variance)
		c.mayBeWild[i] = 1 / (1 + odds)
		c.wild[i] = c.rng.Float64() < c.mayBeWild[i]
		c.precision[i] = 1 / sq(c.deviation(i, c.wild[i]))

		precision += c.precision[i] * sq(a)
		pull += c.precision[i] * a * apart[j]
	}
	return pull/precision + c.rng.NormFloat64()/math.Sqrt(precision)
}

// normalRatio is the density at e of the normal law with variance a over that with variance b.
func normalRatio(e, a, b float64) float64 {
	return math.Sqrt(b/a) * math.Exp(sq(e)/2*(1/b-1/a))
}
