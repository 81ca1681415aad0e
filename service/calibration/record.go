package calibration

// record keeps the chain's draws, and of each observation how far off and how likely wild it was.
type record struct {
	unknowns [][]float64  // of the system, each with all its draws
	unseen   [2][]float64 // ln f of a vessel and ln d of a canopy without outcomes
	between  [2][]float64
	noise    [kinds][]float64
	residual []float64 // in units of the noise, mean
	wild     []float64 // probability
}

func newRecord(f fleet) *record {
	rec := &record{
		unknowns: make([][]float64, len(f.vessels)+len(f.canopies)+2),
		residual: make([]float64, len(f.rows)), wild: make([]float64, len(f.rows)),
	}
	for u := range rec.unknowns {
		rec.unknowns[u] = make([]float64, 0, 2*sweepsKept)
	}
	return rec
}

// keep adds the draw of the members and its mirror image.
func (rec *record) keep(c *chain) {
	v, n := len(c.vessels), len(c.vessels)+len(c.canopies)
	for u, m := range c.mean {
		d := c.departure[u]
		rec.unknowns[u] = append(rec.unknowns[u], m+d, m-d)
	}
	for side, tau := range c.between {
		m, d := c.mean[n+side], c.departure[n+side]+tau*c.rng.NormFloat64()
		rec.unseen[side] = append(rec.unseen[side], m+d, m-d)
		rec.between[side] = append(rec.between[side], tau)
	}
	for k, phi := range c.noise {
		rec.noise[k] = append(rec.noise[k], phi)
	}
	for i, r := range c.fleet.rows {
		expected := r.onWindage*(c.mean[n]+c.mean[r.vessel]) + r.onDrag*(c.mean[n+1]+c.mean[v+r.canopy])
		rec.wild[i] += c.mayBeWild[i] / sweepsKept
		rec.residual[i] += (r.z - expected) / (c.noise[r.kind] * r.deviation) / sweepsKept
	}
}

func sq(x float64) float64 { return x * x }
