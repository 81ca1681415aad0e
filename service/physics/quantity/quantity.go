// Package quantity holds the few types every other part of the computation shares: angles, bands
// of uncertainty, the error for a value outside a theory's range, and the exact unit conversions
// used at the edges.
//
// Everything inside the computation is SI (metre, kilogram, second, newton, radian). A float that
// crosses a package boundary says its unit in its name.
package quantity

import (
	"fmt"
	"math"
)

// Exact conversion factors. Sources: the nautical mile, international foot and avoirdupois pound
// are exact by definition (International Yard and Pound agreement 1959; SI brochure, 9th edition,
// table 8); the pound-force follows from them and standard gravity.
const (
	MetresPerNauticalMile = 1852.0                                 // m, exact
	MetresPerFoot         = 0.3048                                 // m, exact
	MetresPerInch         = 0.0254                                 // m, exact
	KilogramsPerPound     = 0.45359237                             // kg, exact
	StandardGravityMS2    = 9.80665                                // m/s2, exact
	NewtonsPerPoundForce  = KilogramsPerPound * StandardGravityMS2 // N, exact
	NewtonsPerKilogramF   = StandardGravityMS2                     // N per kgf, exact
	metresPerSecondPerKt  = MetresPerNauticalMile / 3600           // m/s per knot, exact
)

// MetresPerSecond turns a speed in knots into m/s.
func MetresPerSecond(speedKt float64) float64 { return speedKt * metresPerSecondPerKt }

// Knots turns a speed in m/s into knots.
func Knots(speedMS float64) float64 { return speedMS / metresPerSecondPerKt }

// Angle is a plane angle in radians. The zero value is no angle. As a direction it is counted
// clockwise from true north; whether something comes from it or goes toward it is said by the
// name of the variable.
type Angle float64

// Degrees makes an Angle from degrees.
func Degrees(deg float64) Angle { return Angle(deg * math.Pi / 180) }

// Degrees gives the angle in degrees.
func (a Angle) Degrees() float64 { return float64(a) * 180 / math.Pi }

// Radians gives the angle in radians.
func (a Angle) Radians() float64 { return float64(a) }

// Normalised gives the same direction in [0, 2 pi).
func (a Angle) Normalised() Angle {
	r := math.Mod(float64(a), 2*math.Pi)
	if r < 0 {
		r += 2 * math.Pi
	}
	if r >= 2*math.Pi { // a tiny negative angle rounds up to a full turn
		r = 0
	}
	return Angle(r)
}

// Apart gives the unsigned angle between two directions, in [0, pi].
func (a Angle) Apart(b Angle) Angle {
	d := math.Abs(math.Remainder(float64(a-b), 2*math.Pi))
	return Angle(d)
}

// Band is an uncertain value: a low, a middle and a high estimate, ordered by value. It is no
// confidence interval unless its source says so. The zero value is a certain zero.
type Band struct {
	Low  float64 `json:"low"`
	Mid  float64 `json:"mid"`
	High float64 `json:"high"`
}

// Exactly is the band of a value that is known or was imposed.
func Exactly(v float64) Band { return Band{v, v, v} }

// BandOf orders three estimates; mid stays the middle estimate even where the outer two lie on
// the same side of it, by widening the band to hold it.
func BandOf(a, mid, b float64) Band {
	return Band{Low: math.Min(mid, math.Min(a, b)), Mid: mid, High: math.Max(mid, math.Max(a, b))}
}

// Scale multiplies every estimate by a factor; a negative factor swaps the ends.
func (b Band) Scale(f float64) Band { return BandOf(b.Low*f, b.Mid*f, b.High*f) }

// Known tells whether the band has no width.
func (b Band) Known() bool { return b.Low == b.High }

// RangeError says that a value lies outside what a formula covers. Min and Max are the covered
// range; either may be infinite.
type RangeError struct {
	Name     string // the argument, in the field's words
	Value    float64
	Min, Max float64
	Unit     string
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("%s %g %s is outside %g..%g", e.Name, e.Value, e.Unit, e.Min, e.Max)
}

// Within returns a *RangeError unless min <= v <= max. NaN is never within.
func Within(name string, v, min, max float64, unit string) error {
	if v >= min && v <= max {
		return nil
	}
	return &RangeError{Name: name, Value: v, Min: min, Max: max, Unit: unit}
}
