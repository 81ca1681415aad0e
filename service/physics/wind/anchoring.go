package wind

import (
	"math"

	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
)

// AnchoringLoad is the design horizontal load of a small craft's ground tackle, in N, by the anchoring
// table of the boat builders' standard: at 15 kn (lunch hook), 30 kn (working) and 42 kn (storm), in
// moderate shelter. It holds surge and is several times the windage; it is a figure from outside to
// set beside computed loads, never a part of them.
type AnchoringLoad struct {
	LunchN, WorkingN, StormN float64
	// Beyond tells that the vessel is larger than the table's last row and the loads are that row's.
	Beyond bool
}

type anchoringRow struct {
	loaFt, beamSailFt, beamPowerFt float64
	lunchLbf, workingLbf, stormLbf float64
}

// anchoring is the table of ABYC H-40 (7/03), by secondary copies. Beams are from memory; of the last row
// none is known, so it is reached from the beam by exceeding the one before.
var anchoring = [...]anchoringRow{
	{20, 7, 8, 90, 360, 720},
	{25, 8, 9, 125, 490, 980},
	{30, 9, 11, 175, 700, 1400},
	{35, 10, 13, 225, 900, 1800},
	{40, 11, 14, 300, 1200, 2400},
	{50, 13, 16, 400, 1600, 3200},
	{60, 15, 18, 500, 2000, 4000},
	{70, math.MaxFloat64, math.MaxFloat64, 675, 2700, 5400},
}

// Anchoring returns the table's loads for a length overall in m (1 to 100) and beam in m (0.3 to 50) of a
// vessel of a kind; multihulls are entered as power vessels, our choice. Each is
// entered at the next larger row, not interpolated, and the larger load of the two taken: so a published
// example of 32 ft by 12 ft comes to 900 lbf, by either entry, where straight interpolation of the length
// would give 780.
//
// Source: ABYC H-40 (7/03), table 1; its use "by LOA or beam, whichever is larger" from a marine systems handbook.
func Anchoring(kind hull.Kind, loaM, beamM float64) (AnchoringLoad, error) {
	if err := quantity.Within("length overall", loaM, 1, 100, "m"); err != nil {
		return AnchoringLoad{}, err
	}
	if err := quantity.Within("beam", beamM, 0.3, 50, "m"); err != nil {
		return AnchoringLoad{}, err
	}
	loa, beam := loaM/quantity.MetresPerFoot, beamM/quantity.MetresPerFoot
	for _, row := range anchoring {
		rowBeam := row.beamPowerFt
		if kind == hull.SailMonohull {
			rowBeam = row.beamSailFt
		}
		// a hair of slack, for lengths converted from whole feet
		if loa <= row.loaFt+1e-9 && beam <= rowBeam+1e-9 {
			return row.load(), nil
		}
	}
	last := anchoring[len(anchoring)-1].load()
	last.Beyond = true
	return last, nil
}

func (r anchoringRow) load() AnchoringLoad {
	const n = quantity.NewtonsPerPoundForce
	return AnchoringLoad{LunchN: r.lunchLbf * n, WorkingN: r.workingLbf * n, StormN: r.stormLbf * n}
}
