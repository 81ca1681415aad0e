package planner

import (
	"fmt"
	"math"
	"slices"

	"rideout/service/physics/hardware"
	"rideout/service/physics/rode"
)

const mostUpgrades = 4

// upgrades says what to change first and what it buys: the part that governs is changed, then the one
// that governs after that, until every part is within the policy's margin.
func (c *computation) upgrades() error {
	if c.request.Gear == nil {
		return nil // the recommended set is the answer
	}
	now := fitted{ship: c.ship, gear: *c.request.Gear, rig: c.rig, demandN: c.demand().Mid}
	for range mostUpgrades {
		parts, err := c.judged(now)
		if err != nil {
			return err
		}
		weak := governingOf(parts)
		if weak.Use <= c.policy.Factors.MarginalAbove {
			return nil
		}
		next, what, err := c.stronger(now, weak)
		if err != nil || what == "" {
			return err
		}
		after, err := c.judged(next)
		if err != nil {
			return err
		}
		c.plan.ChangeFirst = append(c.plan.ChangeFirst, bought(what, weak, after))
		now = next
	}
	return nil
}

// fitted is a set of gear under a load.
type fitted struct {
	ship    ship
	gear    Gear
	rig     rig
	demandN float64
}

// rigging is that of the plan with its strong points as they are now.
func (f fitted) rigging(r rigging) rigging {
	named := func(p StrongPoint) StrongPoint {
		if i := slices.IndexFunc(f.ship.StrongPoints, func(q StrongPoint) bool { return q.Name == p.Name }); i >= 0 {
			return f.ship.StrongPoints[i]
		}
		return p
	}
	r.fore = named(r.fore)
	if r.aft != nil {
		aft := named(*r.aft)
		r.aft = &aft
	}
	return r
}

func (c *computation) judged(f fitted) ([]hardware.Part, error) {
	chain, err := links(f.ship, f.rig, f.rigging(c.rigging), &f.gear, &book{})
	if err != nil {
		return nil, err
	}
	return hardware.Chain(chain, f.demandN, c.policy.Factors)
}

func governingOf(parts []hardware.Part) hardware.Part {
	return parts[slices.IndexFunc(parts, func(p hardware.Part) bool { return p.Governing })]
}

func bought(what string, before hardware.Part, parts []hardware.Part) Upgrade {
	then := governingOf(parts)
	u := Upgrade{Change: what, Part: before.Name, UseBefore: r3(before.Use), WeakestUse: r3(then.Use), Weakest: then.Name}
	if i := slices.IndexFunc(parts, func(p hardware.Part) bool { return p.Name == before.Name }); i >= 0 {
		u.UseAfter = r3(parts[i].Use)
	}
	u.Text = fmt.Sprintf("%s: the %s goes from %.0f %% to %.0f %% of its capacity; then the %s governs at %.0f %%.",
		what, u.Part, 100*u.UseBefore, 100*u.UseAfter, u.Weakest, 100*u.WeakestUse)
	return u
}

// stronger is the set with its weak part changed, and the change in words; none where the part cannot
// be bought stronger.
func (c *computation) stronger(f fitted, weak hardware.Part) (fitted, string, error) {
	wanted := weak.DemandN / recommendedUse
	switch weak.Kind {
	case hardware.KindRode, hardware.KindShroudSet:
		return c.strongerRode(f)
	case hardware.KindBridleLeg:
		return c.strongerLegs(f, wanted*c.policy.Factors.RopeFactor)
	case hardware.KindShackle:
		return strongerShackle(f, weak, wanted*c.policy.Factors.MetalFactor)
	case hardware.KindSwivel:
		return strongerSwivel(f, weak, wanted*c.policy.Factors.MetalFactor)
	case hardware.KindChain:
		return strongerChain(f, wanted*c.policy.Factors.MetalFactor)
	case hardware.KindStrongPoint:
		return strongerPoint(f, weak, wanted*c.policy.Factors.StrongPointFactor)
	}
	return f, "", nil
}

// strongerRode splices knotted ends, or else takes the next stock size. A thicker rode is stiffer: the
// load is scaled by the screen's.
func (c *computation) strongerRode(f fitted) (fitted, string, error) {
	if f.gear.Rode == nil {
		return f, "", nil
	}
	line, what := *f.gear.Rode, ""
	if i := slices.IndexFunc(line.Terminations, func(t rode.Termination) bool { return t != rode.ThimbledSplice }); i >= 0 {
		what = fmt.Sprintf("Splice the rode's ends on thimbles instead of the %s", words(string(line.Terminations[i])))
		line.Terminations = usualTerminations
	} else {
		i := slices.IndexFunc(stockRopeMM, func(mm float64) bool { return mm > line.DiameterMM*1.01 })
		if i < 0 || line.Construction == rode.DoubleBraid && stockRopeMM[i] < rode.MinDoubleBraidMM {
			return f, "", nil
		}
		if line.BreakingN > 0 {
			line.BreakingN *= math.Pow(stockRopeMM[i]/line.DiameterMM, 2)
		}
		line.DiameterMM, line.AgeYears, line.ChafedShare = stockRopeMM[i], 0, 0
		what = fmt.Sprintf("Take a new rode of %.0f mm", line.DiameterMM)
	}
	next := f
	next.gear.Rode, next.rig.rode = &line, line
	var err error
	if next.rig, err = next.rig.resolve(c.request.Assume, &book{}); err != nil {
		return f, "", err
	}
	if line.DiameterMM != f.rig.rode.DiameterMM {
		next.demandN, err = c.scaledPeakN(f, next)
	}
	return next, what, err
}

// strongerLegs takes a bridle of the thinnest three-strand rope, spliced, whose legs bear the load.
func (c *computation) strongerLegs(f fitted, wantedN float64) (fitted, string, error) {
	for _, mm := range stockRopeMM {
		legs := Bridle{Construction: rode.ThreeStrand, DiameterMM: mm, LegM: math.Ceil(math.Max(c.plan.Bridle.BowLegM, c.plan.Bridle.AftLegM)), Terminations: usualTerminations}
		next := f
		next.gear.Bridle = &legs
		s, _, err := legStrength(next.rig, &next.gear)
		if err != nil {
			return f, "", err
		}
		if s.AsUsedN.Low >= wantedN {
			return next, fmt.Sprintf("Make the bridle of %.0f mm three-strand nylon, spliced on thimbles", mm), nil
		}
	}
	return f, "", nil
}

// scaledPeakN is the peak on another rode: that on this one times the ratio of their screens.
func (c *computation) scaledPeakN(from, to fitted) (float64, error) {
	x := c.spells[c.worst].worst
	var peaks [2]float64
	for i, g := range []rig{from.rig, to.rig} {
		x.rig = g
		got, err := x.screen(c.paid(c.worst), allMid)
		if err != nil {
			return 0, err
		}
		peaks[i] = got.PeakN
	}
	if peaks[0] <= 0 {
		return from.demandN, nil
	}
	return from.demandN * peaks[1] / peaks[0], nil
}

// strongerShackle takes the smallest size of the table that bears the load in line.
func strongerShackle(f fitted, weak hardware.Part, wantedN float64) (fitted, string, error) {
	i := 0
	for numbered("shackle", i, len(f.gear.Shackles)) != weak.Name {
		i++
	}
	for _, mm := range stockShackleMM {
		n, _, err := hardware.ShackleWLLN(mm)
		if err != nil {
			return f, "", err
		}
		if n < wantedN {
			continue
		}
		next := f
		next.gear.Shackles = slices.Clone(f.gear.Shackles)
		old := next.gear.Shackles[i]
		next.gear.Shackles[i] = Shackle{BodyMM: mm}
		what := fmt.Sprintf("A %.0f mm shackle for the %.0f mm one", mm, old.BodyMM)
		if old.OffLine > 0 {
			what += ", pulled in line"
		}
		return next, what, nil
	}
	return f, "", nil
}

func strongerSwivel(f fitted, weak hardware.Part, wantedN float64) (fitted, string, error) {
	next := f
	next.gear.Swivels = slices.Clone(f.gear.Swivels)
	for i := range next.gear.Swivels {
		if numbered("swivel", i, len(f.gear.Swivels)) == weak.Name {
			next.gear.Swivels[i].WorkingLoadN = math.Ceil(wantedN/1000) * 1000
			return next, fmt.Sprintf("A swivel of %s kN working load", kilo(next.gear.Swivels[i].WorkingLoadN)), nil
		}
	}
	return f, "", nil
}

// strongerChain takes the lightest chain that bears the load: a higher grade before a larger size.
func strongerChain(f fitted, wantedN float64) (fitted, string, error) {
	for _, mm := range []float64{6, 7, 8, 10, 12, 13, 14, 16, 18, 20} {
		if mm < f.gear.Chain.SizeMM {
			continue
		}
		for _, grade := range []hardware.Grade{hardware.Grade30, hardware.Grade43, hardware.Grade70} {
			if n, err := hardware.ChainWLLN(mm, grade); err != nil || n < wantedN {
				continue
			}
			next := f
			next.gear.Chain = &Chain{SizeMM: mm, Grade: int(grade), LengthM: f.gear.Chain.LengthM}
			return next, fmt.Sprintf("Chain of %.0f mm, grade %d", mm, grade), nil
		}
	}
	return f, "", nil
}

// strongerPoint takes a strong point whose builder vouches for the load.
func strongerPoint(f fitted, weak hardware.Part, wantedN float64) (fitted, string, error) {
	n := math.Ceil(wantedN/1000) * 1000
	next := f
	next.ship.StrongPoints = slices.Clone(f.ship.StrongPoints)
	i := slices.IndexFunc(next.ship.StrongPoints, func(p StrongPoint) bool { return p.Name == weak.Name })
	if i < 0 {
		next.ship.StrongPoints = append(next.ship.StrongPoints, StrongPoint{Name: weak.Name})
		i = len(next.ship.StrongPoints) - 1
	}
	next.ship.StrongPoints[i].WorkingLoadN = n
	return next, fmt.Sprintf("Have the %s strengthened, or vouched for by the builder, to %s kN working load", weak.Name, kilo(n)), nil
}
