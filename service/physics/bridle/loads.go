package bridle

import (
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/hull"
	"rideout/service/physics/numeric"
	"rideout/service/physics/quantity"
	"rideout/service/physics/wind"
)

// Resultant is what the rode has to hold at one heading, and the drift that goes with it.
type Resultant struct {
	wind.Load                // of wind, sea and the water's resistance together
	RodeN     float64        // what the rode bears
	RodeLeads quantity.Angle // off the bow, clockwise: positive to starboard
	DriftMS   float64        // through the water, away from where the rode leads
}

// Loads returns the resultant at a heading (-180 to 180 degrees).
//
// Wind by wind.Force, but its lateral force moves toward the bow as the wind comes forward (wind). The sea
// pushes square to the faces that throw it back: head drift times the cosine squared of its angle off
// the bow, beam drift times the sine squared, at mid-length. The water resists along and across her
// independently (cross-flow), with hull.DragAreaAsternM2 at mid-band along the centre line and
// hull.DragAreaBeamM2 at CentreOfResistance, and turns her beam-on to her way by MunkShare. The drift is
// that at which the canopy's drag takes up the rest; she and the canopy go the same way at the same speed.
//
// Left out: Stokes drift and current, which carry both; the lift of a hull moving nearly straight
// astern, save what MunkShare holds of it; the yaw moment of oblique waves, which turns her beam-on.
func (y Lying) Loads(heading quantity.Angle) (Resultant, error) {
	m, err := y.model()
	if err != nil {
		return Resultant{}, err
	}
	if err := quantity.Within("heading off the wind", heading.Degrees(), -180, 180, "deg"); err != nil {
		return Resultant{}, err
	}
	return m.at(heading.Radians()).resultant(), nil
}

// model is a Lying that was checked, with the factors of its forces worked out.
type model struct {
	Lying
	canopyK, alongK, acrossK float64 // N s2/m2: force over speed squared
	midM, centreM            float64 // of the waterline, and of lateral resistance, aft of the stem
	munkKg                   float64
}

func (y Lying) model() (model, error) {
	if err := y.check(); err != nil {
		return model{}, err
	}
	h, halfRho := y.Hull, constant.RhoWater/2
	m := model{
		Lying: y, midM: h.LOAM / 2, // overhangs taken as equal
		canopyK: halfRho * y.CanopyDragAreaM2,
		alongK:  halfRho * h.DragAreaAsternM2().Mid,
		acrossK: halfRho * h.DragAreaBeamM2().Mid,
		munkKg:  y.Tendency.of(MunkShare) * (hull.AddedMassSway.Mid - hull.AddedMassSurge.Mid) * h.DisplacementKg,
	}
	m.centreM = m.midM + (y.Tendency.of(CentreOfResistance)-0.5)*h.LWLM
	return m, nil
}

// check also sets the averaging time where it is left out.
func (y *Lying) check() error {
	if err := y.Hull.Check(); err != nil {
		return err
	}
	w := &y.Weather
	if w.AveragingS == 0 {
		w.AveragingS = wind.DesignAveragingS
	}
	for _, c := range []struct {
		name     string
		v, lo, h float64
		unit     string
	}{
		{"drag area of the canopy", y.CanopyDragAreaM2, 0.01, 1e4, "m2"},
		{"wind speed", w.WindMS, 1, quantity.MetresPerSecond(120), "m/s"},
		{"wave drift bow-on", w.HeadDriftN, 0, 1e7, "N"},
		{"wave drift beam-on", w.BeamDriftN, 0, 1e7, "N"},
		{"direction of the sea off that of the wind", w.SeaOffWind.Degrees(), -360, 360, "deg"},
		{"tendency", float64(y.Tendency), float64(Likely), float64(BowAway), ""},
	} {
		if err := quantity.Within(c.name, c.v, c.lo, c.h, c.unit); err != nil {
			return err
		}
	}
	return y.checkWindage()
}

// checkWindage wants a force from ahead and from abeam, so that every heading has a resultant.
func (y *Lying) checkWindage() error {
	head, err := wind.Force(y.Parts, y.Weather.WindMS, 0, y.Weather.AveragingS)
	if err != nil {
		return err
	}
	beam, err := wind.Force(y.Parts, y.Weather.WindMS, quantity.Degrees(90), y.Weather.AveragingS)
	if err != nil {
		return err
	}
	return quantity.Within("lesser of the wind's force from ahead and from abeam", math.Min(head.AlongN, beam.AcrossN), 1e-3, 1e8, "N")
}

// state is the balance at one heading in rad.
type state struct {
	psi      float64
	forceN   vec     // of all but the rode
	momentNM float64 // about the stem
	driftMS  vec
}

func (m model) at(psi float64) state {
	w, s := m.wind(psi), m.sea(psi)
	pushed := vec{w.AlongN, w.AcrossN}.plus(s)
	v := m.drift(pushed)
	water := vec{-m.alongK * signedSquare(v.aft), -m.acrossK * signedSquare(v.port)}
	return state{
		psi: psi, driftMS: v, forceN: pushed.plus(water),
		momentNM: w.MomentNM + s.port*m.midM + water.port*m.centreM - m.munkKg*v.aft*v.port,
	}
}

func (s state) resultant() Resultant {
	return Resultant{
		Load:      wind.Load{AlongN: s.forceN.aft, AcrossN: s.forceN.port, MomentNM: s.momentNM},
		RodeN:     s.forceN.length(),
		RodeLeads: quantity.Angle(math.Atan2(s.forceN.port, s.forceN.aft)),
		DriftMS:   s.driftMS.length(),
	}
}

// pull is the direction in which the rode draws the vessel.
func (s state) pull() vec {
	if n := s.forceN.length(); n > 0 {
		return s.forceN.times(-1 / n)
	}
	return vec{aft: -1} // wind and sea in balance: as good as any
}

// about is the moment of all but the rode about a place.
func (s state) about(p vec) float64 { return s.momentNM - p.cross(s.forceN) }

// sea is the mean wave drift at a heading.
func (m model) sea(psi float64) vec {
	from := down(psi + m.Weather.SeaOffWind.Radians())
	return vec{m.Weather.HeadDriftN * signedSquare(from.aft), m.Weather.BeamDriftN * signedSquare(from.port)}
}

// drift solves, for each axis with its hull factor c, c u|u| + K s u = pushed, s the speed and K the
// canopy's factor: for a speed the axes follow in closed form, and fall as it rises.
func (m model) drift(pushed vec) vec {
	axis := func(c, force, speed float64) float64 {
		if force == 0 {
			return 0
		}
		ks := m.canopyK * speed
		return 2 * force / (ks + math.Sqrt(ks*ks+4*c*math.Abs(force)))
	}
	at := func(speed float64) vec {
		return vec{axis(m.alongK, pushed.aft, speed), axis(m.acrossK, pushed.port, speed)}
	}
	free := at(0).length() // without the canopy: faster than with it
	speed, err := numeric.Root(func(s float64) float64 { return at(s).length() - s }, 0, free, 1e-15*free)
	if err != nil { // the ends differ in sign by the above, so only rounding comes here
		speed = free
	}
	return at(speed)
}
