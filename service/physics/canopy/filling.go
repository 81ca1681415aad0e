package canopy

import (
	"math"

	"rideout/service/physics/quantity"
)

// slackTolerantDiameterM is where a canopy counts as large. The guidance only says that large
// canopies bear a slack rode and cones and small ones do not; the limit is our own.
const slackTolerantDiameterM = 3.0

// FillTimeS gives the time in s a streaming canopy takes to fill at a speed in m/s (0.05 to 15):
//
//	t = n D0/V
//
// Source: NWC TP 6575 (Knacke 1992), canopy fill time, n from table, from memory; air values.
func (c Canopy) FillTimeS(speedMS float64) (float64, error) {
	if err := quantity.Within("filling speed", speedMS, 0.05, MaxSpeedMS, "m/s"); err != nil {
		return 0, err
	}
	return c.c.FillConstant * c.diameterM / speedMS, nil
}

// FillSource says where the fill constant comes from.
func (c Canopy) FillSource() string { return c.c.FillSource }

// ToleratesSlack tells whether a spell of slack rode is likely to leave the canopy full. Large
// canopies hold their water; cones and small ones do not. Source: published guidance on drag
// devices, in words only; the limit of 3 m is our own.
func (c Canopy) ToleratesSlack() bool {
	return c.shape != Conical && c.diameterM >= slackTolerantDiameterM
}

// criticalMassRatio is the mass ratio above which the greatest load comes at the end of filling.
const criticalMassRatio = 4.0 / 21

// MassRatio gives M, the dimensionless ratio of the vessel to the water her canopy works on:
//
//	M = 2 m / (rho V0 t0 Cd0 S0),  t0 = n D0/V0
//
// so the speed drops out. massKg (above 0) is the vessel with her added mass. This is our reading
// of the source's ballistic mass ratio, fixed by the closed form below: m V' = -1/2 rho Cd S V^2
// with Cd S growing as (t/t0)^6 integrates to V0/V = 1 + (t/t0)^7/(7 M) with just this M. The drag
// coefficient is the middle one. Source: Ludtke, NOLTR 72-146, 1972, from memory.
func (c Canopy) MassRatio(massKg float64) (float64, error) {
	if err := quantity.Within("mass of the vessel", massKg, 1, 1e8, "kg"); err != nil {
		return 0, err
	}
	if err := quantity.Within("canopy diameter", c.diameterM, MinDiameterM, MaxDiameterM, "m"); err != nil {
		return 0, err
	}
	return massKg / (c.DragFactor().Mid * c.c.FillConstant * c.diameterM), nil
}

// ShockFactor gives X, the load over the steady drag at the first speed, at a time (0 to 1, in fill
// times) while a canopy of mass ratio M (1e-6 to 1e6) fills:
//
//	X(t) = t^6 / (1 + t^7/(7 M))^2
//
// A free body, no other force on it, an inelastic canopy and line. Source: Ludtke, NOLTR 72-146,
// 1972, solid cloth canopies (filling exponent 6), from memory.
func ShockFactor(timeShare, massRatio float64) (float64, error) {
	if err := quantity.Within("time in fill times", timeShare, 0, 1, ""); err != nil {
		return 0, err
	}
	if err := quantity.Within("mass ratio", massRatio, 1e-6, 1e6, ""); err != nil {
		return 0, err
	}
	t, m := timeShare, massRatio
	t6 := t * t * t * t * t * t
	slowed := 1 + t6*t/(7*m)
	return t6 / (slowed * slowed), nil
}

// PeakShockFactor gives the greatest X while filling and its time in fill times:
//
//	M <= 4/21: Xmax = (16/49) (21 M/4)^(6/7)  at t = (21 M/4)^(1/7)
//	M >  4/21: Xmax = X(1)                    at t = 1
//
// massRatio 1e-6 to 1e6. Source: Ludtke, NOLTR 72-146, 1972, from memory.
func PeakShockFactor(massRatio float64) (x, timeShare float64, err error) {
	if err := quantity.Within("mass ratio", massRatio, 1e-6, 1e6, ""); err != nil {
		return 0, 0, err
	}
	if massRatio > criticalMassRatio {
		x, err = ShockFactor(1, massRatio)
		return x, 1, err
	}
	q := massRatio / criticalMassRatio
	return 16.0 / 49 * math.Pow(q, 6.0/7), math.Pow(q, 1.0/7), nil
}

// Filling is the load case of deployment: the rode is made fast while the vessel still moves.
type Filling struct {
	MassRatio   float64       // M
	ShockFactor float64       // greatest X
	FillTimeS   float64       // s
	SteadyN     quantity.Band // drag of the full canopy at the first speed, N
	PeakN       quantity.Band // greatest load while filling, N
}

// FillingLoad gives the load while the canopy fills at a vessel's speed through the water in m/s
// (0.05 to 15) with her mass and added mass in kg. The peak's low end is the rigid canopy's Xmax at
// the low drag; its high end multiplies the high drag by the opening factor too, which was measured
// on masses too heavy to slow and holds the overshoot of an elastic canopy; the middle takes half
// of that excess, a choice of ours.
//
// Limits: the wind goes on pushing while the canopy fills and the rode stretches; both are left out
// here and belong to the motion calculation.
func (c Canopy) FillingLoad(massKg, speedMS float64) (Filling, error) {
	m, err := c.MassRatio(massKg)
	if err != nil {
		return Filling{}, err
	}
	fill, err := c.FillTimeS(speedMS)
	if err != nil {
		return Filling{}, err
	}
	x, _, err := PeakShockFactor(m)
	if err != nil {
		return Filling{}, err
	}
	steady := c.DragFactor().Scale(speedMS * speedMS)
	over := c.c.OpeningFactor
	peak := quantity.BandOf(x*steady.Low, x*steady.Mid*(1+over.Mid)/2, x*steady.High*over.High)
	return Filling{m, x, fill, steady, peak}, nil
}

// NeededDepthM gives how deep in m below still water the centre of the canopy should lie in a sea
// of significant wave height in m (0 to 25), so that its rim stays under the trough of the most
// probable highest of 1000 waves:
//
//	d = 1.858 Hs/2 + R
//
// A linear, symmetric trough and the larger projected radius; no more than a floor, as the orbital
// motion at that depth is not yet small. Our rule, on the Rayleigh figure of 1.858 Hs.
func (c Canopy) NeededDepthM(significantHeightM float64) (float64, error) {
	if err := quantity.Within("significant wave height", significantHeightM, 0, 25, "m"); err != nil {
		return 0, err
	}
	const highestOfThousand = 1.858
	return highestOfThousand/2*significantHeightM + c.ProjectedRadiusM().High, nil
}
