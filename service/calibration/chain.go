package calibration

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"
)

// Length of the chain and its seed. The first sweeps lead from the prior to the posterior and are
// dropped; each later one gives two draws, that of the members and its mirror image in their mean.
const (
	sweepsDropped = 300
	sweepsKept    = 2000
	seed1, seed2  = 0x5ea, 0xa4c0
)

// chain is the state of the Gibbs sampler: every unknown is drawn in turn from its law given the rest.
type chain struct {
	fleet  fleet
	prior  Prior
	system *system
	rng    *rand.Rand

	means     [2]float64 // fleet's mean of ln f and ln d
	vessels   []float64  // departures of ln f
	canopies  []float64  // departures of ln d
	between   [2]float64 // deviations between vessels, between canopies
	noise     [kinds]float64
	wildShare float64
	wild      []bool
	mayBeWild []float64 // probability of each observation to be wild, when last drawn

	precision       []float64 // of each observation's noise
	apart           []float64 // room for sortOut
	mean, departure []float64 // of the system's last draw
}

func newChain(f fleet, prior Prior) *chain {
	vessels, canopies, rows := len(f.vessels), len(f.canopies), len(f.rows)
	return &chain{
		fleet: f, prior: prior, system: newSystem(f),
		rng:     rand.New(rand.NewPCG(seed1, seed2)),
		vessels: make([]float64, vessels), canopies: make([]float64, canopies),
		between: [2]float64{prior.WindageBetweenSD, prior.DragBetweenSD},
		noise:   [kinds]float64{1, 1}, wildShare: prior.WildShare,
		wild: make([]bool, rows), mayBeWild: make([]float64, rows),
		precision: make([]float64, rows), apart: make([]float64, rows),
		mean: make([]float64, vessels+canopies+2), departure: make([]float64, vessels+canopies+2),
	}
}

// run sweeps through the chain and records it.
func (c *chain) run() *record {
	rec := newRecord(c.fleet)
	for sweep := -sweepsDropped; sweep < sweepsKept; sweep++ {
		c.drawMembers()
		if sweep >= 0 {
			rec.keep(c)
		}
		c.drawBetween()
		c.rescale()
		c.drawWild()
		c.drawNoise()
	}
	return rec
}

// drawMembers draws the fleet's means and all departures together.
func (c *chain) drawMembers() {
	for i := range c.precision {
		c.precision[i] = 1 / sq(c.deviation(i, c.wild[i]))
	}
	v, n := len(c.vessels), len(c.vessels)+len(c.canopies)
	c.system.set(c.fleet.rows, c.precision, [4]float64{
		1 / sq(c.between[0]), 1 / sq(c.between[1]),
		1 / sq(c.prior.WindageFleetSD), 1 / sq(c.prior.DragFleetSD),
	})
	c.system.draw(c.rng, c.mean, c.departure)
	for i := range c.vessels {
		c.vessels[i] = c.mean[i] + c.departure[i]
	}
	for i := range c.canopies {
		c.canopies[i] = c.mean[v+i] + c.departure[v+i]
	}
	for i := range c.means {
		c.means[i] = c.mean[n+i] + c.departure[n+i]
	}
}

// drawBetween draws the deviations between members given the members' departures.
func (c *chain) drawBetween() {
	c.between[0] = drawSpread(c.rng, c.between[0], c.prior.WindageBetweenSD, c.vessels)
	c.between[1] = drawSpread(c.rng, c.between[1], c.prior.DragBetweenSD, c.canopies)
}

// rescale draws the deviations once more, this time with the departures in units of them held, so
// that both move together. Alternating the two keeps the chain quick whether the data say much of a
// member or little (Yu and Meng 2011, J. Comput. Graph. Stat. 20, 531-570).
func (c *chain) rescale() {
	scales := [2]float64{c.prior.WindageBetweenSD, c.prior.DragBetweenSD}
	for side, members := range [2][]float64{c.vessels, c.canopies} {
		precision, pull := 1/sq(scales[side]), 0.0
		for i, r := range c.fleet.rows {
			part := r.onWindage * c.vessels[r.vessel]
			if side == 1 {
				part = r.onDrag * c.canopies[r.canopy]
			}
			part /= c.between[side]
			precision += c.precision[i] * part * part
			pull += c.precision[i] * part * (c.residual(r) + part*c.between[side])
		}
		scale := pull/precision + c.rng.NormFloat64()/math.Sqrt(precision)
		if math.Abs(scale) < leastSpread*scales[side] {
			continue
		}
		for i := range members {
			members[i] *= scale / c.between[side]
		}
		c.between[side] = math.Abs(scale)
	}
}

// residual is what the factors leave of an observation.
func (c *chain) residual(r row) float64 {
	return r.z - r.onWindage*(c.means[0]+c.vessels[r.vessel]) - r.onDrag*(c.means[1]+c.canopies[r.canopy])
}

// drawNoise draws the factors on the stated accuracies from what the sound observations leave.
func (c *chain) drawNoise() {
	var count, squares [kinds]float64
	for i, r := range c.fleet.rows {
		if c.wild[i] {
			continue
		}
		e := c.residual(r) / r.deviation
		count[r.kind]++
		squares[r.kind] += sq(e)
	}
	for k := range c.noise {
		chi2 := distuv.ChiSquared{K: c.prior.StatedWeight + count[k], Src: c.rng}.Rand()
		c.noise[k] = math.Sqrt((c.prior.StatedWeight + squares[k]) / chi2)
	}
}
