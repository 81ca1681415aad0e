package planner

import (
	"fmt"
	"math"

	"rideout/service/physics/canopy"
	"rideout/service/physics/hardware"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
)

// rig is a canopy on a rode, as the loads are computed for.
type rig struct {
	canopy        canopy.Canopy
	canopyCarried bool
	rode          Rode // length 0: none is carried
	rodeCarried   bool
	strength      rode.Strength
	curve         rode.Curve // scaled by the strength as used
	staticA       Band       // of the curve's first coefficient
	weightNM      float64    // of the rode in water, N/m
	sinkerN       float64    // weight in water of the chain carried at the canopy, N
	drag          Band       // factor learnt on the canopy's drag; zero: none
}

// usualTerminations are assumed where none are given, and recommended: a thimbled eye at both ends.
var usualTerminations = []rode.Termination{rode.ThimbledSplice, rode.ThimbledSplice}

// carriedRig resolves what is carried; the parts missing are taken from the fallback.
func carriedRig(r Request, fallback rig, b *book) (rig, error) {
	g := fallback
	g.drag = r.Calibration.drag()
	if r.Gear != nil && r.Gear.Canopy != nil {
		c, err := canopy.New(r.Gear.Canopy.Shape, r.Gear.Canopy.DiameterM)
		if err != nil {
			return rig{}, err
		}
		g.canopy, g.canopyCarried = c, true
	}
	if r.Gear != nil && r.Gear.Rode != nil {
		g.rode, g.rodeCarried = *r.Gear.Rode, true
	}
	if r.Gear != nil && r.Gear.Chain != nil {
		var err error
		if g.sinkerN, err = chainWeightN(*r.Gear.Chain, b); err != nil {
			return rig{}, err
		}
	}
	return g.resolve(r.Assume, b)
}

// chainWeightN is the weight in water of the chain carried.
func chainWeightN(c Chain, b *book) (float64, error) {
	perM, err := hardware.ChainMassKgM(c.SizeMM)
	if err != nil {
		return 0, err
	}
	n, err := rode.SteelWeightInWaterN(perM * c.LengthM)
	b.assume("weight of the chain in water", quantity.Exactly(n), "N", "0.0225 d^2 kg/m of short-link chain, from memory; steel 7850 kg/m3", "sets how deep the canopy hangs")
	return n, err
}

// resolve works out strength and stretch of the rode and the canopy's coefficients.
func (g rig) resolve(a Assume, b *book) (rig, error) {
	if err := g.resolveStrength(a, b); err != nil {
		return rig{}, err
	}
	if err := g.resolveCurve(a, b); err != nil {
		return rig{}, err
	}
	perM, err := rode.MassPerMetreKg(g.rode.Construction, g.rode.DiameterMM)
	if err != nil {
		return rig{}, err
	}
	if g.weightNM, err = rode.WeightInWaterNM(perM); err != nil {
		return rig{}, err
	}
	g.canopy, err = g.cut(g.canopy.Shape(), g.canopy.DiameterM(), a)
	return g, err
}

func (g *rig) resolveStrength(a Assume, b *book) error {
	ends := g.rode.Terminations
	if len(ends) == 0 {
		ends = usualTerminations
		b.assume("terminations", quantity.Exactly(0.90), "of strength", rode.TerminationSource+", thimbled splice", "none given: a thimbled splice at both ends is assumed")
	}
	condition := rode.Condition{WeatherYears: g.rode.AgeYears, ChafedShare: g.rode.ChafedShare}
	var err error
	if g.rode.BreakingN > 0 {
		g.strength, err = rode.Derate(quantity.Exactly(g.rode.BreakingN), "maker's figure, as given", ends, condition)
	} else {
		g.strength, err = rode.StrengthOf(g.rode.Construction, g.rode.DiameterMM, ends, condition)
		b.assume("rode breaking load, new and dry", g.strength.NewN, "N", g.strength.NewSource, "no maker's figure given")
	}
	if err != nil {
		return fmt.Errorf("strength of the rode: %w", err)
	}
	if a.RodeBreakingLoadN != nil {
		g.strength.AsUsedN = quantity.Exactly(*a.RodeBreakingLoadN)
		b.given("rode_breaking_load_n", *a.RodeBreakingLoadN, "N")
		return nil
	}
	for _, f := range g.strength.Factors {
		b.assume("retained strength: "+f.Name, f.Value, "", f.Source, "derates the rode")
	}
	return nil
}

func (g *rig) resolveCurve(a Assume, b *book) error {
	used := g.strength.AsUsedN.Mid
	if len(g.rode.DataSheet) > 0 && a.StaticA == nil {
		c, rms, err := rode.FitCurve(g.rode.DataSheet, g.rode.BreakingN)
		if err != nil {
			return fmt.Errorf("fit the data sheet: %w", err)
		}
		c.A = math.Max(c.A, 1e-2) // the motion needs a slope at no load
		g.staticA = quantity.Exactly(c.A)
		c.BreakingN = used // the sheet's shape on the strength as used
		g.curve = c
		b.assume("static curve fitted to the data sheet, root mean square difference", quantity.Exactly(rms), "N", "the data sheet given", "Ts/Fb = a e + b e^3 by least squares")
		return nil
	}
	g.staticA = rode.StaticA.Band
	if a.StaticA != nil {
		g.staticA = quantity.Exactly(*a.StaticA)
		b.given("static_a", *a.StaticA, "")
	} else {
		b.assumeCoefficient("static curve, first coefficient a", rode.StaticA, "", "no data sheet of the rope given")
	}
	c, err := rode.NewCurve(g.staticA.Mid, used)
	g.curve = c
	return err
}

// curveAt is the static curve with the first coefficient at an end of its band.
func (g rig) curveAt(e end) (rode.Curve, error) {
	if g.staticA.Known() || e == middle {
		return g.curve, nil
	}
	return rode.NewCurve(e.of(g.staticA), g.curve.BreakingN)
}

// end says which estimate of a band is meant.
type end int

const (
	low    end = -1
	middle end = 0
	high   end = 1
)

func (e end) of(b Band) float64 {
	switch e {
	case low:
		return b.Low
	case high:
		return b.High
	}
	return b.Mid
}
