package motion

import (
	"math"

	"rideout/service/physics/constant"
)

// folded is a System with its constants multiplied out for the inner loop.
type folded struct {
	perHull, perCanopy    float64 // 1/kg
	hullK, canopyK, backK float64 // N s2/m2
	wind, perWind, drift  float64
	surface               float64
	perLength, depth2     float64
	a, b, kd              float64 // N
	perTau                float64 // 1/s
}

func fold(s System) folded {
	p := folded{
		perHull: 1 / s.HullMassKg, perCanopy: 1 / s.CanopyInertiaKg,
		hullK:   0.5 * constant.RhoWater * s.HullDragAreaM2,
		canopyK: s.canopyFactor(), backK: ReversedDragShare * s.canopyFactor(),
		wind: s.WindN, drift: s.WaveDriftN, surface: s.SurfaceDriftMS,
		perLength: 1 / s.RodeLengthM, depth2: sq(s.CanopyDepthM),
		a: s.Rode.BreakingN * s.Rode.A, b: s.Rode.BreakingN * s.Rode.B, kd: s.Rode.BreakingN * s.Rode.KdFb,
		perTau: 1 / s.Rode.TauS,
	}
	if s.WindMS > 0 {
		p.perWind = 1 / s.WindMS
	}
	return p
}

// rates gives the derivatives of the state and the tension.
func (p *folded) rates(d, w, wc, q, u, uc float64) (d1, w1, wc1, q1, tension float64) {
	d1 = w + u - wc - uc
	chord := math.Sqrt(d*d + p.depth2)
	cos := d / chord
	e := chord*p.perLength - 1
	if e > 0 {
		// A rode that shortens faster than the rope recovers hangs slack though it is longer than
		// unstretched: the tension is cut off at nothing while q goes on, so that it comes taut
		// again where the rope's own length is by then.
		tension = max(0, e*(p.a+p.b*e*e)+q)
		q1 = p.kd*cos*d1*p.perLength - q*p.perTau
	} else {
		q1 = -q / SlackRelaxationS
	}
	rel := p.surface - w
	apparent := 1 - (w+u)*p.perWind
	w1 = (p.wind*apparent*apparent + p.drift + p.hullK*rel*math.Abs(rel) - tension*cos) * p.perHull
	k := p.canopyK
	if wc < 0 {
		k = p.backK
	}
	wc1 = (tension*cos - k*wc*math.Abs(wc)) * p.perCanopy
	return d1, w1, wc1, q1, tension
}

// runner is a system's integration under way.
type runner struct {
	State
	p          folded
	k1, k2, k3 State   // slopes of the stages of a step that are done
	drift      float64 // sum of the vessel's speed
	tension    []float64
	states     []State
}

// advance makes n steps of every runner through water given at every half step, and writes each one's
// tension at their starts from place at on. The runners are taken in turn at each stage, as none waits
// for another there.
func advance(runners []runner, dt float64, water []float64, at, n int) {
	half := dt / 2
	for i := range n {
		u := water[4*i : 4*i+6 : 4*i+6]
		for j := range runners {
			x := &runners[j]
			k := &x.k1
			k.DistanceM, k.HullMS, k.CanopyMS, k.FadingN, x.tension[at+i] = x.p.rates(
				x.DistanceM, x.HullMS, x.CanopyMS, x.FadingN, u[0], u[1])
		}
		for j := range runners {
			x := &runners[j]
			k, l := &x.k1, &x.k2
			l.DistanceM, l.HullMS, l.CanopyMS, l.FadingN, _ = x.p.rates(
				x.DistanceM+half*k.DistanceM, x.HullMS+half*k.HullMS, x.CanopyMS+half*k.CanopyMS, x.FadingN+half*k.FadingN, u[2], u[3])
		}
		for j := range runners {
			x := &runners[j]
			k, l := &x.k2, &x.k3
			l.DistanceM, l.HullMS, l.CanopyMS, l.FadingN, _ = x.p.rates(
				x.DistanceM+half*k.DistanceM, x.HullMS+half*k.HullMS, x.CanopyMS+half*k.CanopyMS, x.FadingN+half*k.FadingN, u[2], u[3])
		}
		for j := range runners {
			x := &runners[j]
			k := &x.k3
			d, w, wc, q, _ := x.p.rates(
				x.DistanceM+dt*k.DistanceM, x.HullMS+dt*k.HullMS, x.CanopyMS+dt*k.CanopyMS, x.FadingN+dt*k.FadingN, u[4], u[5])
			x.drift += x.HullMS + u[0]
			x.step(dt/6, d, w, wc, q)
		}
	}
}

// step ends a step by the slopes of its four stages.
func (x *runner) step(sixth, d, w, wc, q float64) {
	x.DistanceM += sixth * (x.k1.DistanceM + 2*(x.k2.DistanceM+x.k3.DistanceM) + d)
	x.HullMS += sixth * (x.k1.HullMS + 2*(x.k2.HullMS+x.k3.HullMS) + w)
	x.CanopyMS += sixth * (x.k1.CanopyMS + 2*(x.k2.CanopyMS+x.k3.CanopyMS) + wc)
	x.FadingN += sixth * (x.k1.FadingN + 2*(x.k2.FadingN+x.k3.FadingN) + q)
}
