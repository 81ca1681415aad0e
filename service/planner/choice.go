package planner

import (
	"math"
	"slices"

	"rideout/service/physics/bridle"
	"rideout/service/physics/canopy"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
)

// Choices that are ours.
const (
	usualDriftKt     = 1.5 // wished in heavy weather where nothing is
	fishingDriftKt   = 1.0 // wished for a slow drift where nothing is
	recommendedUse   = 0.8 // of capacity, for parts to buy
	curvePoints      = 12
	reserveRode      = 1.2 // rode to carry over rode to pay out
	recommendedShape = canopy.FlatCircular
)

// wishedDriftMS is the drift the canopy is to keep her below.
func wishedDriftMS(r Request, b *book) float64 {
	if d := r.Wish.DriftAtMostMS; d != nil {
		return *d
	}
	kt, why := usualDriftKt, "no drift wished; common practice is about one mile an hour in a gale on a right-sized canopy"
	if r.Intent == SlowDrift {
		kt, why = fishingDriftKt, "no drift wished for a slow drift"
	}
	b.assume("drift wished at most", quantity.Exactly(kt), "kt", "our choice", why)
	return quantity.MetresPerSecond(kt)
}

// provisionalRig is what loads are first screened on where nothing is carried: a canopy by the rule
// of thumb, and the thinnest three-strand rode of customary length that bears twelve times the steady force.
func provisionalRig(s ship, worst hour) (rig, error) {
	c, err := thumbCanopy(s.LOAM)
	if err != nil {
		return rig{}, err
	}
	length, err := rode.CustomaryLengthM(s.LOAM)
	if err != nil {
		return rig{}, err
	}
	force, err := s.windForceN(worst.windMS)
	if err != nil {
		return rig{}, err
	}
	mm := stockRopeMM[len(stockRopeMM)-1]
	for _, d := range slices.Backward(stockRopeMM) {
		n, err := rode.BreakingN(rode.ThreeStrand, d)
		if err != nil {
			return rig{}, err
		}
		if n.Low > 12*force {
			mm = d
		}
	}
	return rig{canopy: c, rode: Rode{Construction: rode.ThreeStrand, DiameterMM: mm, LengthM: length, Terminations: usualTerminations}}, nil
}

// chooseRode finds, by the screen, the thinnest stock rope and the shortest stock length that bear
// the situation within recommendedUse, within all of the capacity at the high end, and within the
// slack limit; the largest of both if none does.
func chooseRode(x situation, a Assume, policy Policy) (mm, lengthM float64, err error) {
	mm, lengthM = stockRopeMM[len(stockRopeMM)-1], stockLengthM[len(stockLengthM)-1]
	best := math.Inf(1)
	for _, d := range stockRopeMM {
		g := x.rig
		g.rode = Rode{Construction: x.rig.rode.Construction, DiameterMM: d, Terminations: usualTerminations}
		if g.rode.Construction == rode.DoubleBraid {
			g.rode.Construction = rode.ThreeStrand
		}
		if g, err = g.resolve(a, &book{}); err != nil {
			return 0, 0, err
		}
		y := x
		y.rig = g
		bears := g.strength.AsUsedN.Low / policy.Factors.RopeFactor
		for _, l := range stockLengthM {
			if l*d >= best || l < 2*x.neededM { // weigh thickness against length by the metal of both
				continue
			}
			mid, err := y.screen(l, allMid)
			if err != nil { // parts under steady load: a thicker one may do
				break
			}
			top, err := y.screen(l, allHigh)
			if err != nil {
				break
			}
			if mid.PeakN <= recommendedUse*bears && top.PeakN <= bears && mid.SlackShare <= policy.SlackLimit {
				mm, lengthM, best = d, l, l*d
				break
			}
		}
	}
	return mm, lengthM, nil
}

// ladder tries the stock sizes of canopy by the screen, on one length of rode.
func ladder(x situation, at bridle.Point, lengthM, wishMS, capacityN, yawLimitDeg float64) (sizes []CanopySize, recommendedM float64, err error) {
	shape := x.rig.canopy.Shape()
	fits := false
	for _, d := range canopy.StockM() {
		c, err := x.rig.cut(shape, d, x.assume)
		if err != nil {
			return nil, 0, err
		}
		y := x
		y.rig.canopy = c
		if y.assume.CanopyInertiaKg == nil {
			y.inertia = c.InertiaKg().Mid
		}
		got, err := y.screen(lengthM, allMid)
		if err != nil {
			return nil, 0, err
		}
		drift, err := y.driftKt(lengthM)
		if err != nil {
			return nil, 0, err
		}
		yaw, err := lyingTo(y).Yaw(at)
		if err != nil {
			return nil, 0, err
		}
		size := CanopySize{DiameterM: d, DriftKt: drift.Mid, PeakN: got.PeakN, YawDeg: yaw.AtMostDeg, Verdict: "suits"}
		holds := yaw.AtMostDeg.High <= yawLimitDeg
		slow, bears := quantity.MetresPerSecond(drift.Mid) <= wishMS*(1+1e-9), got.PeakN <= capacityN
		switch {
		case !slow:
			size.Verdict = "drifts faster than wished"
		case !holds:
			size.Verdict = "lets the bow fall off"
		case !bears:
			size.Verdict = "loads a part beyond its capacity"
		}
		if slow && holds && bears && !fits {
			recommendedM, fits = d, true
		}
		sizes = append(sizes, size)
	}
	if !fits {
		recommendedM = leastDrift(sizes, quantity.Knots(wishMS), yawLimitDeg)
	}
	return sizes, recommendedM, nil
}

// leastDrift is the smallest size that keeps drift and bow as wished whatever it loads, else the largest.
func leastDrift(sizes []CanopySize, wishKt, yawLimitDeg float64) float64 {
	for _, s := range sizes {
		if s.DriftKt <= wishKt*(1+1e-9) && s.YawDeg.High <= yawLimitDeg {
			return s.DiameterM
		}
	}
	return sizes[len(sizes)-1].DiameterM
}

// curveLengths are the lengths of rode the peak load is shown for.
func curveLengths(r Request, x situation, carriedM float64) []float64 {
	kept := []float64{carriedM}
	if out := rodeOutM(r, carriedM); out >= leastRodeM && out != carriedM {
		kept = append(kept, out)
	}
	if len(r.RodeTried) > 0 {
		return ascending(append(kept[1:], r.RodeTried...))
	}
	least := shortestM(x)
	top := math.Max(1.3*carriedM, 2*least)
	if r.Intent == SlowDrift {
		top = math.Max(carriedM, 2*least)
	}
	least = math.Min(least, 0.5*carriedM)
	l := slices.Clone(kept)
	n := float64(curvePoints - 1)
	for i := range curvePoints - 1 {
		at := math.Round(least * math.Pow(top/least, float64(i)/(n-1)))
		near := func(m float64) bool { return math.Abs(at/m-1) <= 0.03 }
		if !slices.ContainsFunc(kept, near) { // the length carried, or out, stands in for its near neighbour
			l = append(l, at)
		}
	}
	return ascending(l)
}

func ascending(lengths []float64) []float64 {
	slices.Sort(lengths)
	return slices.Compact(lengths)
}

// shortestM is the least rode to lie to: twice the canopy's depth, and clear of the vessel.
func shortestM(x situation) float64 {
	return math.Max(10, math.Max(2*x.neededM, 1.5*x.ship.LOAM))
}
