package bridle

import (
	"math"

	"rideout/service/physics/numeric"
	"rideout/service/physics/quantity"
)

// Equilibrium is a heading at which nothing turns her.
type Equilibrium struct {
	Heading           quantity.Angle // off the wind, -180 to 180 degrees
	SeaOffBow         quantity.Angle // where the sea comes from, seen from the bow, in the same range
	Stable            bool
	StiffnessNMPerRad float64 // moment that turns her back, for each radian she is turned away; negative when unstable
	RodeN             float64
	DriftMS           float64
	ForeShare         float64 // of the rode's load, on the legs
	AftShare          float64
	Fouled            bool // a taut leg leads across the deck or under her, as when the wind has gone to the other side
}

const (
	stepRad = math.Pi / 180 // between the headings tried
	fineRad = 1e-4          // for differences
	rootRad = 1e-12
)

// Headings returns every heading at which she could lie on the legs, from port to starboard, found by
// steps of a degree: two that lie closer together are missed.
func (y Lying) Headings(l Legs) ([]Equilibrium, error) {
	m, err := y.onLegs(l)
	if err != nil {
		return nil, err
	}
	var found []Equilibrium
	psi := -math.Pi + stepRad/2 // so that ahead and astern, where symmetry puts zeros, lie inside a step
	for n := m.turning(l, psi); psi < math.Pi; psi += stepRad {
		next := m.turning(l, psi+stepRad)
		if n == 0 || n*next < 0 {
			found = append(found, m.between(l, psi, psi+stepRad))
		}
		n = next
	}
	return found, nil
}

// Settle returns the stable heading she comes to from a given one (-360 to 360 degrees), turning as the
// moment turns her and stopping where it ends: how she would go if the water let her neither overshoot nor
// linger.
func (y Lying) Settle(l Legs, from quantity.Angle) (Equilibrium, error) {
	m, err := y.onLegs(l)
	if err != nil {
		return Equilibrium{}, err
	}
	if err := quantity.Within("heading off the wind", from.Degrees(), -360, 360, "deg"); err != nil {
		return Equilibrium{}, err
	}
	psi := from.Radians()
	if here := m.equilibrium(l, psi); math.Abs(m.turning(l, psi)) < 1e-9*here.RodeN*m.Hull.LOAM {
		if here.Stable {
			return here, nil
		}
		psi += fineRad // balanced on a point: any breath tips her
	}
	step := -math.Copysign(stepRad, m.turning(l, psi))
	for range 360 {
		if m.turning(l, psi)*m.turning(l, psi+step) <= 0 {
			return m.between(l, psi, psi+step), nil
		}
		psi += step
	}
	return Equilibrium{}, &quantity.RangeError{Name: "headings that hold her", Value: 0, Min: 1, Max: 360, Unit: ""}
}

// AfterShift returns where she settles when the wind shifts clockwise by an angle while the sea stays; from
// is the heading before. The canopy is taken to have come round with the drift.
func (y Lying) AfterShift(l Legs, from, by quantity.Angle) (Equilibrium, error) {
	if err := quantity.Within("shift of the wind", by.Degrees(), -180, 180, "deg"); err != nil {
		return Equilibrium{}, err
	}
	y.Weather.SeaOffWind = quantity.Angle(wrapped(float64(y.Weather.SeaOffWind - by)))
	return y.Settle(l, quantity.Angle(wrapped(float64(from+by))))
}

// Spread returns the band in degrees of where she settles from a heading, over the tendencies: how well a
// heading can be foretold. Drag areas and windage add to it and are the caller's to vary.
func (y Lying) Spread(l Legs, from quantity.Angle) (quantity.Band, error) {
	var deg [3]float64
	for i, t := range []Tendency{BowUp, Likely, BowAway} {
		y.Tendency = t
		e, err := y.Settle(l, from)
		if err != nil {
			return quantity.Band{}, err
		}
		deg[i] = e.Heading.Degrees()
	}
	return quantity.BandOf(deg[0], deg[1], deg[2]), nil
}

func (y Lying) onLegs(l Legs) (model, error) {
	m, err := y.model()
	if err != nil {
		return m, err
	}
	for _, p := range []Point{l.Fore.Point, l.Aft.Point} {
		if err := p.check(y.Hull); err != nil {
			return m, err
		}
	}
	return m, l.Check()
}

// turning is the moment in N m that turns her on the legs at a heading.
func (m model) turning(l Legs, psi float64) float64 {
	s := m.at(psi)
	return s.about(l.hold(s.pull()).at)
}

func (m model) stiffness(l Legs, psi float64) float64 {
	return (m.turning(l, psi+fineRad) - m.turning(l, psi-fineRad)) / (2 * fineRad)
}

// between is the equilibrium inside a step over which the moment changes sign.
func (m model) between(l Legs, a, b float64) Equilibrium {
	psi, err := numeric.Root(func(x float64) float64 { return m.turning(l, x) }, a, b, rootRad)
	if err != nil {
		psi = a // the moment is zero there
	}
	return m.equilibrium(l, psi)
}

func (m model) equilibrium(l Legs, psi float64) Equilibrium {
	s := m.at(psi)
	h, k := l.hold(s.pull()), m.stiffness(l, psi)
	return Equilibrium{
		Heading:   quantity.Angle(wrapped(psi)),
		SeaOffBow: quantity.Angle(wrapped(psi + m.Weather.SeaOffWind.Radians())),
		Stable:    k > 0, StiffnessNMPerRad: k,
		RodeN: s.forceN.length(), DriftMS: s.driftMS.length(),
		ForeShare: h.fore, AftShare: h.aft, Fouled: l.fouls(h),
	}
}
