package motion

import (
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/numeric"
	"rideout/service/physics/quantity"
	"rideout/service/physics/seaway"
)

// Linear is the system with its springs and dashpots made linear about the mean: exact for small
// waves, an estimate where the rode hangs slack. It answers in microseconds what a record takes
// milliseconds for, and is used to screen forecasts and canopy sizes.
type Linear struct {
	sys            System
	cos            float64 // of the rode's slope
	static, fading float64 // N/m along the rode
	geometric      float64 // N/m, horizontal, of a taut rode turning
	hull, canopy   float64 // N s/m
	wind           float64 // N s/m
}

// Linearise makes the system linear about its steady state for waves too small to change it.
func Linearise(s System) (Linear, Steady, error) {
	steady, err := s.Steady()
	if err != nil {
		return Linear{}, Steady{}, err
	}
	l := linearAbout(s, steady)
	return l, steady, nil
}

func linearAbout(s System, st Steady) Linear {
	chord := s.RodeLengthM * (1 + st.Stretch)
	cos := st.DistanceM / chord
	l := Linear{
		sys: s, cos: cos,
		static:    (s.Rode.A + 3*s.Rode.B*sq(st.Stretch)) * s.Rode.BreakingN / s.RodeLengthM,
		fading:    s.Rode.KdFb * s.Rode.BreakingN / s.RodeLengthM,
		geometric: st.TensionN / chord * (1 - cos*cos),
		hull:      constant.RhoWater * s.HullDragAreaM2 * math.Abs(st.DriftMS-s.SurfaceDriftMS),
		canopy:    2 * s.canopyFactor() * st.DriftMS,
	}
	if s.WindMS > 0 {
		l.wind = 2 * s.WindN / s.WindMS * (1 - st.DriftMS/s.WindMS)
	}
	return l
}

// Transfer returns the tension in the rode in N per m/s of water speed at the hull and at the
// canopy, as complex amplitudes of exp(i w t), in closed form:
//
//	k   = cos^2 (Ks + Kd i w tau/(1 + i w tau)) + Kg
//	Zh  = i w M + bh + bw,  Zc = i w Mc + bc
//	d   = [uh (1 - bw/Zh) - uc] / (i w + k (1/Zh + 1/Zc))
//	T   = cos (Ks + Kd i w tau/(1 + i w tau)) d
//
// Derived here from the equations of the package.
func (l Linear) Transfer(omegaRadS float64) (perHull, perCanopy complex128) {
	iw := complex(0, omegaRadS)
	along := complex(l.static, 0)
	if tau := l.sys.Rode.TauS; !math.IsInf(tau, 1) {
		along += complex(l.fading, 0) * iw * complex(tau, 0) / (1 + iw*complex(tau, 0))
	} else {
		along += complex(l.fading, 0)
	}
	k := complex(l.cos*l.cos, 0)*along + complex(l.geometric, 0)
	zh := iw*complex(l.sys.HullMassKg, 0) + complex(l.hull+l.wind, 0)
	zc := iw*complex(l.sys.CanopyInertiaKg, 0) + complex(l.canopy, 0)
	perDistance := complex(l.cos, 0) * along
	den := iw + k*(1/zh+1/zc)
	return perDistance * (1 - complex(l.wind, 0)/zh) / den, -perDistance / den
}

// canopySpeed is the canopy's speed through the water for a tension amplitude.
func (l Linear) canopySpeed(omega float64, tension complex128) complex128 {
	return tension * complex(l.cos, 0) / complex(l.canopy, omega*l.sys.CanopyInertiaKg)
}

// hullSpeed is the hull's speed through the water for a tension amplitude and a water speed.
func (l Linear) hullSpeed(omega float64, tension, u complex128) complex128 {
	push := -tension*complex(l.cos, 0) - complex(l.wind, 0)*u
	return push / complex(l.hull+l.wind, omega*l.sys.HullMassKg)
}

// Screen is the frequency-domain estimate of the load in a sea.
type Screen struct {
	MeanN, StandardDeviationN float64
	SlackShare                float64
	MostProbablePeakN         float64 // in 3 h
	PeakN                     float64 // 90 % of 3 h maxima stay below
	DriftMS                   float64
}

// ScreenSea estimates the loads of a system in a sea by statistical linearisation: drag and the
// rode's slackness are replaced by the linear elements that behave alike in the mean over Gaussian
// motion, iterated until they agree with it. The spectrum may stand on any grid that resolves it;
// some hundred frequencies do.
//
// Limits: the motion is taken as Gaussian, so snap loads, which are not, come out too low; Method in a
// plan states how far screen and time domain differ.
// Source: Roberts and Spanos (1990), Random Vibration and Statistical Linearization, ch. 5, for
// the method; the elements are derived here.
func ScreenSea(s System, body Body, sea seaway.Spectrum) (Screen, error) {
	steady, err := s.Steady()
	if err != nil {
		return Screen{}, err
	}
	if err := quantity.Within("body length", body.LengthM, 0, 1000, "m"); err != nil {
		return Screen{}, err
	}
	base := linearAbout(s, steady)
	waves := sample(s, body, sea)
	l, drift, taut := base, steady.DriftMS, 1.0
	var g gaussian
	horizontal := s.canopyFactor() * sq(steady.DriftMS)
	for range 60 {
		l.static, l.fading = base.static*taut, base.fading*taut
		g = l.respond(waves)
		before := [3]float64{l.canopy, l.hull, taut}
		drift = meanThroughQuadratic(s.canopyFactor(), g.canopy, horizontal)
		l.canopy = mix(l.canopy, slopeOfDrag(s.canopyFactor(), ReversedDragShare, drift, g.canopy))
		l.hull = mix(l.hull, slopeOfDrag(0.5*constant.RhoWater*s.HullDragAreaM2, 1, drift-s.SurfaceDriftMS, g.hull))
		taut = mix(taut, tautShare(steady.TensionN, g.tension))
		if near(before[0], l.canopy) && near(before[1], l.hull) && near(before[2], taut) {
			break
		}
	}
	return l.screen(steady.TensionN, drift, taut, g), nil
}

func mix(a, b float64) float64 { return (a + b) / 2 }

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-4*(math.Abs(a)+math.Abs(b)) }

// wave is one frequency of a sea with its water speeds at hull and canopy.
type wave struct {
	omega, weight float64 // rad/s; variance of the elevation, m2
	hull, canopy  complex128
}

func sample(s System, body Body, sea seaway.Spectrum) []wave {
	hull := seaway.Velocity(body.DepthM, 0, body.LengthM)
	canopy := seaway.Velocity(s.CanopyDepthM, -s.RodeLengthM, 0)
	waves := make([]wave, 0, len(sea.DensityM2S))
	for i, density := range sea.DensityM2S {
		if i == 0 || density == 0 {
			continue
		}
		w := float64(i) * sea.StepRadS
		waves = append(waves, wave{w, density * sea.StepRadS, hull(w), canopy(w)})
	}
	return waves
}

// gaussian holds the standard deviations of the linear response.
type gaussian struct {
	tension, canopy, hull float64
	crossingHz            float64 // of the tension through its mean, upward
}

func (l Linear) respond(waves []wave) gaussian {
	var t0, t2, c0, h0 float64
	for _, w := range waves {
		ph, pc := l.Transfer(w.omega)
		t := ph*w.hull + pc*w.canopy
		t0 += w.weight * abs2(t)
		t2 += w.weight * abs2(t) * sq(w.omega)
		c0 += w.weight * abs2(l.canopySpeed(w.omega, t))
		h0 += w.weight * abs2(l.hullSpeed(w.omega, t, w.hull))
	}
	g := gaussian{tension: math.Sqrt(t0), canopy: math.Sqrt(c0), hull: math.Sqrt(h0)}
	if t0 > 0 {
		g.crossingHz = math.Sqrt(t2/t0) / (2 * math.Pi)
	}
	return g
}

func abs2(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }

// slopeOfDrag is the mean slope of k v|v| over a Gaussian speed, with backward flow dragging less.
func slopeOfDrag(k, backShare, mean, sd float64) float64 {
	forward, backward := partialMeans(mean, sd)
	return 2 * k * (forward + backShare*backward)
}

// partialMeans are the means of max(v, 0) and max(-v, 0) over a Gaussian v.
func partialMeans(mean, sd float64) (positive, negative float64) {
	if sd == 0 {
		return max(mean, 0), max(-mean, 0)
	}
	x := mean / sd
	positive = sd*density(x) + mean*below(x)
	return positive, positive - mean
}

func density(x float64) float64 { return math.Exp(-x*x/2) / math.Sqrt(2*math.Pi) }

func below(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }

// meanThroughQuadratic is the mean speed of a Gaussian flow whose mean drag is the given force.
func meanThroughQuadratic(k, sd, force float64) float64 {
	drag := func(m float64) float64 {
		if sd == 0 {
			return k * m * math.Abs(m)
		}
		x := m / sd
		forward := (m*m+sd*sd)*below(x) + m*sd*density(x)
		backward := (m*m+sd*sd)*below(-x) - m*sd*density(x)
		return k * (forward - ReversedDragShare*backward)
	}
	top := math.Sqrt(force/k) + sd
	m, err := numeric.Root(func(m float64) float64 { return drag(m) - force }, -2*sd-1, top+1, 1e-6)
	if err != nil {
		return math.Sqrt(force / k) // not reached: the drag grows without bound on both sides
	}
	return m
}

// tautShare is the share of time a rode is taut whose load would swing as a Gaussian about a middle
// that keeps the mean of its positive part.
func tautShare(mean, sd float64) float64 {
	if sd == 0 {
		return 1
	}
	return below(middle(mean, sd) / sd)
}

// middle is the m with E max(m + sd z, 0) = mean.
func middle(mean, sd float64) float64 {
	m, err := numeric.Root(func(m float64) float64 { p, _ := partialMeans(m, sd); return p - mean }, -12*sd, mean+sd, 1e-6*sd)
	if err != nil {
		return -12 * sd // a load next to nothing in a rode that is nearly always slack
	}
	return m
}

func (l Linear) screen(mean, drift, taut float64, g gaussian) Screen {
	r := Screen{MeanN: mean, DriftMS: drift, SlackShare: 1 - taut}
	if g.tension == 0 {
		r.MostProbablePeakN, r.PeakN = mean, mean
		return r
	}
	m := middle(mean, g.tension)
	// Variance of the positive part of a Gaussian about m.
	x := m / g.tension
	square := (sq(m)+sq(g.tension))*below(x) + m*g.tension*density(x)
	r.StandardDeviationN = math.Sqrt(max(0, square-sq(mean)))
	waves := g.crossingHz * seaway.RecordS
	peak := math.Sqrt(2 * math.Log(max(waves, 2)))
	r.MostProbablePeakN = m + g.tension*peak
	r.PeakN = numeric.Gumbel{Location: r.MostProbablePeakN, Scale: g.tension / peak}.Quantile(PeakQuantile)
	return r
}
