package rode

import (
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// BreakingStretch is the stretch at which the assumed static curve reaches the breaking strength.
// Source: published load-stretch figures of nylon rope, which breaks near 50 %.
const BreakingStretch = 0.5

// StaticA is the first coefficient of the static curve: the slope at no load in breaking strengths.
// The shape (soft, then stiffening) and the 50 % are published; the figures are our choice.
var StaticA = constant.Coefficient{
	Band:   quantity.Band{Low: 0.7, Mid: 1.0, High: 1.5},
	Source: "our choice for nylon, which breaks at 50 % stretch; it gives 30-36 % at half the breaking strength",
}

// Curve is the slow load-stretch curve of a rope,
//
//	Ts/Fb = A e + B e^3
//
// with e the stretch over the unloaded length. The zero value bears no load. It is a value: copying
// and concurrent use are safe. Make it with NewCurve, or with FitCurve from a data sheet.
type Curve struct {
	A, B      float64
	BreakingN float64 // Fb: the strength the curve is scaled by, in N
}

// NewCurve gives the curve with first coefficient a (0 to 2) that reaches breakingN (1 N to 100 MN)
// at 50 % stretch: B = (1 - a/2) 8.
func NewCurve(a, breakingN float64) (Curve, error) {
	if err := quantity.Within("static coefficient a", a, 0, 1/BreakingStretch, ""); err != nil {
		return Curve{}, err
	}
	if err := quantity.Within("breaking strength", breakingN, 1, 1e8, "N"); err != nil {
		return Curve{}, err
	}
	b := (1 - a*BreakingStretch) / (BreakingStretch * BreakingStretch * BreakingStretch)
	return Curve{a, b, breakingN}, nil
}

// Tension gives Ts in N at a stretch (share of length); 0 where the rope is slack. It follows the
// formula past the breaking strength too: compare with BreakingN.
func (c Curve) Tension(stretch float64) float64 {
	if !(stretch > 0) {
		return 0
	}
	return c.BreakingN * stretch * (c.A + c.B*stretch*stretch)
}

// Stiffness gives dTs/de in N (per unit of stretch); divide by the length for N/m. Slack rope has
// 0.
func (c Curve) Stiffness(stretch float64) float64 {
	if !(stretch > 0) {
		return 0
	}
	return c.BreakingN * (c.A + 3*c.B*stretch*stretch)
}

// StretchAt gives the stretch at a tension in N (0 to BreakingN), the inverse of Tension, to a
// relative 1e-12 or better.
//
// Each term alone reaches the load at or beyond the root and the curve is convex, so Newton's
// method from the nearer of the two comes down on the root without ever passing it.
func (c Curve) StretchAt(tensionN float64) (float64, error) {
	if err := quantity.Within("breaking strength", c.BreakingN, 1, 1e8, "N"); err != nil {
		return 0, err
	}
	if err := quantity.Within("tension", tensionN, 0, c.BreakingN, "N"); err != nil {
		return 0, err
	}
	if err := quantity.Within("curve coefficient sum", c.A+c.B, 1e-6, 1e6, ""); err != nil {
		return 0, err
	}
	if tensionN == 0 {
		return 0, nil
	}
	t := tensionN / c.BreakingN
	e := math.Inf(1)
	if c.A > 0 {
		e = t / c.A
	}
	if c.B > 0 {
		e = math.Min(e, math.Cbrt(t/c.B))
	}
	for range 60 {
		next := e - (e*(c.A+c.B*e*e)-t)/(c.A+3*c.B*e*e)
		if !(next < e) {
			break
		}
		e = next
	}
	return e, nil
}

// EnergyJ gives the energy in J stored in a rope of a length in m stretched slowly:
//
//	U = Fb L (A e^2/2 + B e^4/4)
func (c Curve) EnergyJ(stretch, lengthM float64) (float64, error) {
	if err := quantity.Within("stretch", stretch, 0, 1, ""); err != nil {
		return 0, err
	}
	if err := quantity.Within("rode length", lengthM, 0, 5000, "m"); err != nil {
		return 0, err
	}
	e2 := stretch * stretch
	return c.BreakingN * lengthM * (c.A*e2/2 + c.B*e2*e2/4), nil
}

// Point is one reading of a rope's load-stretch curve.
type Point struct {
	Stretch float64 // share of the unloaded length, above 0 to 1
	LoadN   float64
}

// FitCurve gives the curve nearest to a data sheet's readings by least squares with neither
// coefficient negative, and the root of the mean squared difference in N. It needs two readings at
// different stretch and the breaking strength in N; loads 0 to that strength. The fit need not
// reach the strength at 50 %; readings of slow loading are meant.
func FitCurve(points []Point, breakingN float64) (curve Curve, rmsN float64, err error) {
	if err := quantity.Within("breaking strength", breakingN, 1, 1e8, "N"); err != nil {
		return Curve{}, 0, err
	}
	if err := quantity.Within("number of readings", float64(len(points)), 2, 1e5, ""); err != nil {
		return Curve{}, 0, err
	}
	var s2, s4, s6, y1, y3 float64 // sums of e^2, e^4, e^6, y e, y e^3
	for _, p := range points {
		if err := quantity.Within("stretch of a reading", p.Stretch, 1e-4, 1, ""); err != nil {
			return Curve{}, 0, err
		}
		if err := quantity.Within("load of a reading", p.LoadN, 0, breakingN, "N"); err != nil {
			return Curve{}, 0, err
		}
		e, y := p.Stretch, p.LoadN/breakingN
		s2, s4, s6 = s2+e*e, s4+e*e*e*e, s6+e*e*e*e*e*e
		y1, y3 = y1+y*e, y3+y*e*e*e
	}
	spread := 1 - s4*s4/(s2*s6) // 0 when all readings share one stretch
	if err := quantity.Within("spread of the readings", spread, 1e-9, 1, ""); err != nil {
		return Curve{}, 0, err
	}
	det := s2 * s6 * spread
	a, b := (y1*s6-y3*s4)/det, (y3*s2-y1*s4)/det
	switch { // the other coefficient alone, where one wants to be negative
	case a < 0:
		a, b = 0, y3/s6
	case b < 0:
		a, b = y1/s2, 0
	}
	if err := quantity.Within("fitted coefficient sum", a+b, 1e-6, 1e6, ""); err != nil {
		return Curve{}, 0, err
	}
	curve = Curve{a, b, breakingN}
	var sum float64
	for _, p := range points {
		d := curve.Tension(p.Stretch) - p.LoadN
		sum += d * d
	}
	return curve, math.Sqrt(sum / float64(len(points))), nil
}
