package rode

import (
	"fmt"
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// RelaxationS is the time in s in which the extra tension of a quick stretch fades. Nothing
// measured was found: our assumption.
var RelaxationS = constant.Coefficient{
	Band:   quantity.Band{Low: 30, Mid: 60, High: 300},
	Source: "our assumption; nothing measured found for nylon at wave periods",
}

// Sources of the dynamic stiffness, as printed with an answer.
const (
	DoubleBraidStiffnessSource = "UFC 4-159-03 (2005) table 6-8: AE = 3.54 Fb, double braid nylon, dry, cyclic"
	HuntleySource              = "Kr = 2.08 + 0.39 Lm - 0.21 La (Huntley 2016, from memory; 2.08 and 0.39 as carried in an open mooring-line property library), held to 1..10"
	StiffnessSpreadSource      = "our choice of spread; published bedded-in stiffness of nylon lies in 1..10 Fb"
	UnmeasuredSource           = "our choice: nothing measured found for three-strand and plaited nylon"
)

// Stiffness is a dynamic stiffness in multiples of the breaking strength per unit of stretch, with
// the source of each estimate.
type Stiffness struct {
	quantity.Band
	LowSource, MidSource, HighSource string
}

// Kr gives the total stiffness of nylon rope cycled at wave frequency, as a multiple of breaking
// strength, at a mean load and a load amplitude in % of breaking strength (each 0 to 100).
//
// Double braid: {2.5, 3.54, 4.5} at any load. Three-strand and plaited:
//
//	Kr = 2.08 + 0.39 Lm - 0.21 La
//
// between 1.5 and 4.5. As the amplitude depends on the stiffness, a caller iterates. The formula
// was fitted to mooring ropes of another construction and is held to 1..10, the published span; the
// band is widened where it leaves 1.5..4.5.
func Kr(construction Construction, meanPct, amplitudePct float64) (Stiffness, error) {
	if err := quantity.Within("mean load", meanPct, 0, 100, "% of breaking strength"); err != nil {
		return Stiffness{}, err
	}
	if err := quantity.Within("load amplitude", amplitudePct, 0, 100, "% of breaking strength"); err != nil {
		return Stiffness{}, err
	}
	switch construction {
	case DoubleBraid:
		return Stiffness{quantity.Band{Low: 2.5, Mid: 3.54, High: 4.5}, StiffnessSpreadSource, DoubleBraidStiffnessSource, StiffnessSpreadSource}, nil
	case ThreeStrand, Plaited:
		lm, la := meanPct, amplitudePct
		kr := math.Min(math.Max(2.08+0.39*lm-0.21*la, 1), 10)
		return Stiffness{quantity.BandOf(1.5, kr, 4.5), UnmeasuredSource, HuntleySource, UnmeasuredSource}, nil
	}
	return Stiffness{}, fmt.Errorf("no dynamic stiffness for a rope of construction %q", string(construction))
}

// Kd gives what the dynamic stiffness kr (multiples of BreakingN, 0 to 50) adds to the slope of the
// static curve at a mean stretch (0 to 1), never less than nothing:
//
//	Kd = max(0, Kr - Ts'(e)/Fb)
//
// kr 0 means the static curve alone.
func (c Curve) Kd(kr, meanStretch float64) (float64, error) {
	if err := quantity.Within("dynamic stiffness", kr, 0, 50, "breaking strengths"); err != nil {
		return 0, err
	}
	if err := quantity.Within("mean stretch", meanStretch, 0, 1, ""); err != nil {
		return 0, err
	}
	tangent := c.A + 3*c.B*meanStretch*meanStretch // of a just taut rope too, where Stiffness is 0
	return math.Max(0, kr-tangent), nil
}

// Solid is a rope as a standard linear solid: the static curve in parallel with a spring Kd and a
// dashpot in series, T = Ts(e) + q with q' = Kd Fb e' - q/tau. The zero value bears no load.
type Solid struct {
	Curve
	KdFb float64 // spring of the fading branch, multiples of BreakingN
	TauS float64 // its relaxation time, s
}

// NewSolid joins a curve, a dynamic addition (0 to 50) and a relaxation time in s (0.1 to 1e5).
func NewSolid(curve Curve, kdFb, tauS float64) (Solid, error) {
	if err := quantity.Within("dynamic stiffness addition", kdFb, 0, 50, "breaking strengths"); err != nil {
		return Solid{}, err
	}
	if err := quantity.Within("relaxation time", tauS, 0.1, 1e5, "s"); err != nil {
		return Solid{}, err
	}
	return Solid{curve, kdFb, tauS}, nil
}

// Rate gives q' in N/s of the fading tension q in N while the rope stretches at a rate in 1/s.
func (s Solid) Rate(fadingN, stretchRate float64) float64 {
	return s.KdFb*s.BreakingN*stretchRate - fadingN/s.TauS
}

// FadingN gives q in N at a time in s (0 or later) after a sudden stretch (0 to 1) that is then
// held:
//
//	q = Kd Fb e0 exp(-t/tau)
//
// the closed form a numerical solution is held against.
func (s Solid) FadingN(stepStretch, sinceS float64) (float64, error) {
	if err := quantity.Within("step of stretch", stepStretch, 0, 1, ""); err != nil {
		return 0, err
	}
	if err := quantity.Within("time since the step", sinceS, 0, math.MaxFloat64, "s"); err != nil {
		return 0, err
	}
	return s.KdFb * s.BreakingN * stepStretch * math.Exp(-sinceS/s.TauS), nil
}

// Harmonic gives the stiffness in N per unit of stretch for a small oscillation about a mean
// stretch at an angular frequency in rad/s (0 to 1000): storage in phase with the stretch, loss in
// phase with its rate.
//
//	storage = Ts' + Kd Fb (w tau)^2/(1 + (w tau)^2),  loss = Kd Fb w tau/(1 + (w tau)^2)
//
// Source: the standard linear solid (Zener 1948), textbook result.
func (s Solid) Harmonic(meanStretch, omega float64) (storageN, lossN float64, err error) {
	if err := quantity.Within("mean stretch", meanStretch, 0, 1, ""); err != nil {
		return 0, 0, err
	}
	if err := quantity.Within("angular frequency", omega, 0, 1000, "rad/s"); err != nil {
		return 0, 0, err
	}
	wt := omega * s.TauS
	branch := s.KdFb * s.BreakingN / (1 + wt*wt)
	return s.Stiffness(meanStretch) + branch*wt*wt, branch * wt, nil
}

// SnapLoadN gives the tension in N when a mass in kg comes up at a speed in m/s on a slack,
// straight line of stiffness AE in N (per unit of stretch) and length in m:
//
//	T = v sqrt(k m),  k = AE/L
//
// A linear line with no mass, fixed at the far end; so an upper figure for a canopy that yields.
// Source: energy balance, derived here.
func SnapLoadN(speedMS, aeN, lengthM, massKg float64) (float64, error) {
	for _, in := range []struct {
		name          string
		v, low, upper float64
		unit          string
	}{{"speed", speedMS, 0, 50, "m/s"}, {"axial stiffness", aeN, 0, 1e10, "N"}, {"rode length", lengthM, 0.1, 5000, "m"}, {"mass", massKg, 0, 1e8, "kg"}} {
		if err := quantity.Within(in.name, in.v, in.low, in.upper, in.unit); err != nil {
			return 0, err
		}
	}
	v, k, m := speedMS, aeN/lengthM, massKg
	return v * math.Sqrt(k*m), nil
}
