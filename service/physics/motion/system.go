// Package motion computes the load in the rode: vessel and canopy, each with the water it drags
// along, on one elastic rode in an irregular sea, in the surge plane.
//
// Axis: toward where wind and sea go, along the rode seen from above. The vessel lies down-sea of the
// canopy. Speeds of both bodies are kept relative to the water round them, so that the water's
// acceleration drops out of their equations:
//
//	M  w'  = Fwind (1 - (w+u)/V)^2 + Fdrift + 1/2 rho CdA (us-w)|us-w| - T cos(theta)
//	Mc wc' = T cos(theta) - 1/2 rho Cd0 S0 wc|wc|
//	d'     = w + u - wc - uc
//	T      = Ts(e) + q,  q' = Kd Fb e' - q/tau,  e = sqrt(d^2 + h^2)/L - 1
//
// with w, wc the speeds of vessel and canopy through the water, u, uc the water's, d their
// horizontal distance, h the canopy's depth and L the rode's length. In still water without wave
// drift the equations return the static answer; the frequency-domain form of them (Linear) is
// used to screen many cases and the time-domain form (Integrator) to confirm.
//
// As the rode can only pull and the water carries the canopy's inertia along, the flow at the canopy
// never reverses in these equations; what can happen is that the canopy hangs in dead water while
// the rode is slack. A slack spell longer than the canopy takes to fill is counted as a collapse.
//
// The rode's own mass and drag are left out: 183 m of 22 mm nylon weighs 55 kg against a hull of
// 14 t and a canopy holding as much water again, and moves along itself with little resistance.
package motion

import (
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
)

// ReversedDragShare is the share of its drag that a canopy has when it is moved backward, which
// only a start away from the balance does. An assumption of the reference cases.
const ReversedDragShare = 0.3

// SlackRelaxationS is the time in which the fading tension dies once the rode is shorter than
// unstretched: at once, as seen from a wave.
const SlackRelaxationS = 0.5

// System is a vessel lying to a canopy, in SI units. The zero value is refused by Check. It is a
// value: copying and concurrent use are safe.
type System struct {
	HullMassKg     float64 // displacement and the water surging with it
	HullDragAreaM2 float64 // CdA of the hull through the water
	WindN          float64 // wind force on the vessel at rest
	WindMS         float64 // the wind it is for; 0: the force does not change as the vessel moves
	WaveDriftN     float64 // mean force of the waves thrown back
	SurfaceDriftMS float64 // of the water at the hull over that at the canopy

	CanopyDragAreaM2 float64 // Cd0 S0
	CanopyInertiaKg  float64 // water moving with the canopy
	CanopyDepthM     float64
	CanopyFillS      float64 // slack for longer lets it collapse; 0: not counted

	Rode        rode.Solid
	RodeLengthM float64 // paid out, unstretched
}

// Check returns an error unless the system is one the equations cover.
func (s System) Check() error {
	inf := math.Inf(1)
	for _, c := range []struct {
		name          string
		v, least, max float64
		unit          string
	}{
		{"hull mass", s.HullMassKg, 10, inf, "kg"},
		{"hull drag area", s.HullDragAreaM2, 0, 1e4, "m2"},
		{"wind force", s.WindN, 0, 1e7, "N"},
		{"wind speed", s.WindMS, 0, 100, "m/s"},
		{"wave drift force", s.WaveDriftN, 0, 1e7, "N"},
		{"surface drift", s.SurfaceDriftMS, -5, 5, "m/s"},
		{"canopy drag area", s.CanopyDragAreaM2, 1e-3, 1e4, "m2"},
		{"canopy inertia", s.CanopyInertiaKg, 1, inf, "kg"},
		{"canopy depth", s.CanopyDepthM, 0, 0.9 * s.RodeLengthM, "m"},
		{"fill time", s.CanopyFillS, 0, inf, "s"},
		{"rode length", s.RodeLengthM, 1, 2000, "m"},
		{"rode breaking load", s.Rode.BreakingN, 1, 1e8, "N"},
		{"static curve, first coefficient", s.Rode.A, 1e-3, 100, ""},
		{"static curve, second coefficient", s.Rode.B, 0, 1000, ""},
		{"dynamic stiffness addition", s.Rode.KdFb, 0, 100, ""},
		{"relaxation time", s.Rode.TauS, 0.1, inf, "s"},
	} {
		if err := quantity.Within(c.name, c.v, c.least, c.max, c.unit); err != nil {
			return err
		}
	}
	return nil
}

// Steady is the balance in still water and steady wind.
type Steady struct {
	TensionN  float64 // in the rode at the vessel
	DriftMS   float64 // through the water at the canopy, toward where the wind goes
	Stretch   float64 // of the rode, share of its length
	DistanceM float64 // of vessel and canopy, seen from above
}

// Steady solves the balance of wind, wave drift, hull and canopy without waves. The relative error
// is below 1e-10.
func (s System) Steady() (Steady, error) {
	if err := s.Check(); err != nil {
		return Steady{}, err
	}
	k := s.canopyFactor()
	push := func(v float64) float64 { return s.hullForce(v) - k*v*math.Abs(v) }
	v := 0.0
	if push(0) > 0 {
		fast := math.Sqrt((s.WindN+s.WaveDriftN)/k) + math.Abs(s.SurfaceDriftMS) + 1
		lo, hi := 0.0, fast
		for range 200 { // the push falls as the speed rises: halve
			v = (lo + hi) / 2
			if push(v) > 0 {
				lo = v
			} else {
				hi = v
			}
		}
	}
	horizontal := k * v * v
	return s.hang(horizontal, v)
}

// hang finds stretch and distance for a horizontal pull.
func (s System) hang(horizontalN, driftMS float64) (Steady, error) {
	tension, stretch := horizontalN, 0.0
	for range 50 { // the chord's slope changes little with the stretch
		e, err := s.Rode.StretchAt(math.Min(tension, s.Rode.BreakingN))
		if err != nil {
			return Steady{}, err
		}
		stretch = e
		chord := s.RodeLengthM * (1 + e)
		tension = horizontalN / math.Sqrt(1-sq(s.CanopyDepthM/chord))
	}
	if err := quantity.Within("steady tension", tension, 0, s.Rode.BreakingN, "N"); err != nil {
		return Steady{}, err
	}
	chord := s.RodeLengthM * (1 + stretch)
	return Steady{tension, driftMS, stretch, math.Sqrt(sq(chord) - sq(s.CanopyDepthM))}, nil
}

// hullForce is the push on the vessel without the rode at a speed through still water.
func (s System) hullForce(v float64) float64 {
	wind := s.WindN
	if s.WindMS > 0 {
		wind *= sq(1 - v/s.WindMS)
	}
	rel := s.SurfaceDriftMS - v
	return wind + s.WaveDriftN + 0.5*constant.RhoWater*s.HullDragAreaM2*rel*math.Abs(rel)
}

// canopyFactor is k in drag = k v^2.
func (s System) canopyFactor() float64 { return 0.5 * constant.RhoWater * s.CanopyDragAreaM2 }

func sq(x float64) float64 { return x * x }
