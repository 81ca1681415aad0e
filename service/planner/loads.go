package planner

import (
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/hull"
	"rideout/service/physics/motion"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
	"rideout/service/physics/seaway"
	"rideout/service/physics/wind"
)

// Limits of the canopy's depth, our choice.
const (
	deepestShare = 0.7  // of the water's depth
	rimShare     = 0.35 // of the nominal diameter: about the radius of the full canopy
)

// situation is the vessel on her rig in one hour of the forecast: all that a load needs but the
// rode's length.
type situation struct {
	ship   ship
	rig    rig
	assume Assume
	hour   hour

	windN    float64
	windMS   float64 // 60 s mean at 10 m, which the force is for
	depthM   float64 // of the canopy, on the whole rode carried where a chain sinks it
	neededM  float64 // depth that keeps its rim below the troughs
	sinkerN  float64 // weight in water of the chain carried; 0: none, the depth is imposed or set up
	driftN   Band    // mean wave drift
	surface  float64 // Stokes drift at the hull over that at the canopy, m/s
	inertia  float64 // kg
	relaxS   Band
	flat     bool            // no sea to speak of
	screened seaway.Spectrum // on a coarse grid
}

// uncertain says at which end each uncertain input is taken.
type uncertain struct{ cd0, stiffness, drift, staticA, relaxation, windage end }

// The three cases that bound an answer: every input that raises the load at one end. Windage that is given has no band.
var (
	allLow  = uncertain{cd0: low, stiffness: low, drift: low, windage: low}
	allMid  = uncertain{}
	allHigh = uncertain{cd0: high, stiffness: high, drift: high, windage: high}
)

func newSituation(s ship, g rig, a Assume, h hour) (situation, error) {
	x := situation{ship: s, rig: g, assume: a, hour: h, flat: h.totalHsM() < flatBelowHsM}
	var err error
	if x.windN, err = s.windForceN(h.windMS); err != nil {
		return x, err
	}
	if a.WindForceN != nil {
		x.windN = *a.WindForceN
	}
	if x.windMS, err = wind.At(h.windMS, 10, wind.DesignAveragingS); err != nil {
		return x, err
	}
	if err = x.hangCanopy(); err != nil {
		return x, err
	}
	x.inertia = g.canopy.InertiaKg().Mid
	if a.CanopyInertiaKg != nil {
		x.inertia = *a.CanopyInertiaKg
	}
	x.relaxS = rode.RelaxationS.Band
	if a.RelaxationS != nil {
		x.relaxS = quantity.Exactly(*a.RelaxationS)
	}
	if x.flat {
		x.depthM = x.depthOn(g.rode.LengthM)
		return x, nil
	}
	if x.screened, err = h.spectrum(screenGrid(h)); err != nil {
		return x, err
	}
	return x, x.resolveWaves()
}

// resolveWaves finds the mean forces and drifts the sea brings.
func (x *situation) resolveWaves() error {
	// Each face throws the sea back square to itself, with the square of the sine of the angle it is met
	// at; what counts here is the part of that along the sea.
	c3 := math.Pow(math.Abs(math.Cos(x.ship.heading.Radians())), 3)
	s3 := math.Pow(math.Abs(math.Sin(x.ship.heading.Radians())), 3)
	head, beam := x.ship.hull.HeadDriftN(x.screened), x.ship.hull.BeamDriftN(x.screened)
	x.driftN = Band{Low: c3*head.Low + s3*beam.Low, Mid: c3*head.Mid + s3*beam.Mid, High: c3*head.High + s3*beam.High}
	x.driftN = Band{Low: x.driftN.Low * x.ship.push, Mid: x.driftN.Mid * x.ship.push, High: x.driftN.High * x.ship.push}
	if w := x.assume.WaveDriftShare; w != nil {
		x.driftN = quantity.Exactly(x.driftN.Mid * *w)
	}
	x.depthM = x.depthOn(x.rig.rode.LengthM)
	atHull, err := seaway.StokesDrift(x.screened, x.body().DepthM)
	if err != nil {
		return err
	}
	atCanopy, err := seaway.StokesDrift(x.screened, x.depthM)
	x.surface = atHull - atCanopy
	return err
}

func (x situation) body() motion.Body {
	return motion.Body{LengthM: x.ship.alongM, DepthM: x.ship.DraughtM / 2}
}

// hangCanopy settles how deep the canopy must hang, and what hangs it there: what is imposed, else the
// chain carried, else a weight or float line that is yet to be set up for the depth needed.
func (x *situation) hangCanopy() (err error) {
	if x.assume.CanopyDepthM != nil {
		x.depthM, x.neededM = *x.assume.CanopyDepthM, *x.assume.CanopyDepthM
		return nil
	}
	needed, err := x.rig.canopy.NeededDepthM(x.hour.totalHsM())
	if err != nil {
		return err
	}
	x.neededM = math.Min(needed, deepestShare*x.hour.depthM)
	x.depthM, x.sinkerN = x.neededM, x.rig.sinkerN
	return nil
}

// depthOn is the depth of the canopy on a length of rode: under a chain, that of the catenary at the
// steady pull of wind and waves, its rim no higher than the surface; else as settled.
func (x situation) depthOn(lengthM float64) float64 {
	if x.sinkerN == 0 || lengthM <= 0 {
		return math.Min(x.depthM, 0.8*lengthM)
	}
	hang := rode.Hang{PullN: math.Max(x.windN+x.driftN.Mid, 1), RodeWeightNM: x.rig.weightNM, LengthM: lengthM}
	depth, err := hang.CanopyDepthM(x.sinkerN)
	if err != nil {
		return math.Min(x.neededM, 0.8*lengthM) // outside the statics: as if it were set up for it
	}
	depth = math.Max(depth, x.rig.canopy.DiameterM()*rimShare)
	return math.Min(depth, math.Min(deepestShare*x.hour.depthM, 0.8*lengthM))
}

// spectrum is the sea of the hour on a grid: wind sea and swell.
func (h hour) spectrum(g seaway.Grid) (seaway.Spectrum, error) {
	var sea seaway.Spectrum
	for _, p := range [2][2]float64{{h.hsM, h.tpS}, {h.swellHsM, h.swellTpS}} {
		if p[0] < 0.01 {
			continue
		}
		part, err := seaway.JONSWAP(p[0], p[1], seaway.Gamma(p[0], p[1]), g)
		if err != nil {
			return seaway.Spectrum{}, err
		}
		if sea, err = seaway.Add(sea, part); err != nil {
			return seaway.Spectrum{}, err
		}
	}
	return sea, nil
}

// periods are the shortest and the longest peak period of the hour's partitions.
func (h hour) periods() (short, long float64) {
	short, long = h.tpS, h.tpS
	if h.swellHsM >= 0.01 {
		if h.hsM < 0.01 {
			return h.swellTpS, h.swellTpS
		}
		short, long = math.Min(short, h.swellTpS), math.Max(long, h.swellTpS)
	}
	return short, long
}

// screenGrid resolves the sea by some 130 frequencies, enough for the smooth responses of a screen.
func screenGrid(h hour) seaway.Grid {
	short, long := h.periods()
	step := 2 * math.Pi / long / 26
	return seaway.Grid{StepRadS: step, Count: int(seaway.CustomaryCut*2*math.Pi/short/step) + 2, CutAtPeaks: seaway.CustomaryCut}
}

// system is the situation on a length of rode, with the uncertain inputs at the given ends. kr is
// the band of the rode's dynamic stiffness there.
func (x situation) system(lengthM float64, kr Band, u uncertain) (motion.System, error) {
	curve, err := x.rig.curveAt(u.staticA)
	if err != nil {
		return motion.System{}, err
	}
	windN := x.windN
	if x.ship.windBand.Mid > 0 && x.assume.WindForceN == nil {
		windN *= u.windage.of(x.ship.windBand)
	}
	s := motion.System{
		HullMassKg: x.ship.massKg(), HullDragAreaM2: x.ship.dragAreaM2,
		WindN: windN, WindMS: x.windMS, WaveDriftN: u.drift.of(x.driftN), SurfaceDriftMS: x.surface,
		CanopyDragAreaM2: u.cd0.of(x.rig.canopy.Cd0()) * x.rig.canopy.NominalAreaM2(),
		CanopyInertiaKg:  x.inertia, CanopyDepthM: x.depthOn(lengthM),
		Rode: rode.Solid{Curve: curve, TauS: u.relaxation.of(x.relaxS)}, RodeLengthM: lengthM,
	}
	st, err := s.Steady()
	if err != nil {
		return motion.System{}, err
	}
	if st.DriftMS > 0.05 {
		if s.CanopyFillS, err = x.rig.canopy.FillTimeS(st.DriftMS); err != nil {
			return motion.System{}, err
		}
	}
	s.Rode.KdFb, err = curve.Kd(math.Min(u.stiffness.of(kr), 50), st.Stretch)
	return s, err
}

// stiffness is the band of the rode's dynamic stiffness on a length of rode: the formula's load
// amplitude, taken as that of a regular load of the same deviation, is iterated with the screen.
func (x situation) stiffness(lengthM float64) (rode.Stiffness, error) {
	if k := x.assume.DynamicStiffness; k != nil {
		return rode.Stiffness{Band: quantity.Exactly(*k), MidSource: "given in the request under assume"}, nil
	}
	fb := x.rig.curve.BreakingN
	kr, err := rode.Kr(x.rig.rode.Construction, 0, 0)
	if err != nil || x.flat {
		return kr, err
	}
	for range 4 {
		s, err := x.system(lengthM, kr.Band, allMid)
		if err != nil {
			return kr, err
		}
		got, err := motion.ScreenSea(s, x.body(), x.screened)
		if err != nil {
			return kr, err
		}
		mean, amplitude := 100*got.MeanN/fb, 100*math.Sqrt2*got.StandardDeviationN/fb
		next, err := rode.Kr(x.rig.rode.Construction, math.Min(mean, 100), math.Min(amplitude, 100))
		if err != nil {
			return kr, err
		}
		done := math.Abs(next.Mid-kr.Mid) < 0.01
		kr = next
		if done {
			break
		}
	}
	return kr, nil
}

// screen is the frequency-domain estimate on a length of rode.
func (x situation) screen(lengthM float64, u uncertain) (motion.Screen, error) {
	kr, err := x.stiffness(lengthM)
	if err != nil {
		return motion.Screen{}, err
	}
	s, err := x.system(lengthM, kr.Band, u)
	if err != nil {
		return motion.Screen{}, err
	}
	return motion.ScreenSea(s, x.body(), x.screened)
}

// driftKt is the steady drift through the water, which falls as the canopy's drag rises.
func (x situation) driftKt(lengthM float64) (Band, error) {
	at := func(u uncertain) (float64, error) {
		s, err := x.system(lengthM, quantity.Exactly(0), u)
		if err != nil {
			return 0, err
		}
		st, err := s.Steady()
		return quantity.Knots(st.DriftMS), err
	}
	slow, err := at(uncertain{cd0: high, drift: low, windage: low})
	if err != nil {
		return Band{}, err
	}
	mid, err := at(allMid)
	if err != nil {
		return Band{}, err
	}
	fast, err := at(uncertain{cd0: low, drift: high, windage: high})
	return quantity.BandOf(slow, mid, fast), err
}

// waveDriftSource is printed with the band of the wave drift.
func waveDriftSource(heading quantity.Angle) constant.Coefficient {
	if heading.Degrees() > 45 {
		return hull.BeamReflection
	}
	return hull.BowReflection
}
