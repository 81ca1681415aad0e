// Package measure writes numbers for people: lengths, forces, speeds, times, in the units asked for. It is
// the one place that decides how many digits are shown.
package measure

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"rideout/service/physics/quantity"
)

// Units is the set of units to write in.
type Units string

// The sets. Speeds are in knots in both: forecasts, logs and the plan's own words give them so.
const (
	Metric Units = "metric" // m, kN
	Trade  Units = "trade"  // m and ft, kN and lbf
)

// Length writes a length in m: whole ones from 10 m, tenths below.
func (u Units) Length(m float64) string {
	if u == Trade {
		return metres(m) + " m / " + u.Feet(m) + " ft"
	}
	return metres(m) + " m"
}

// Feet writes a length in m as feet, without the unit.
func (u Units) Feet(m float64) string {
	ft := m / quantity.MetresPerFoot
	if math.Abs(m) < 9.95 {
		return fixed(ft, 1)
	}
	return fixed(ft, 0)
}

func metres(m float64) string {
	if math.Abs(m) < 9.95 {
		return fixed(m, 1)
	}
	return fixed(m, 0)
}

// Force writes a force in N as kN: tenths below 10 kN, as the plan's words do; below 1 kN in N.
func (u Units) Force(n float64) string {
	if math.Abs(n) < 950 {
		if u == Trade {
			return fixed(n, 0) + " N / " + pounds(n) + " lbf"
		}
		return fixed(n, 0) + " N"
	}
	if u == Trade {
		return kilo(n) + " kN / " + pounds(n) + " lbf"
	}
	return kilo(n) + " kN"
}

// Forces writes the ends of a band of forces in N.
func (u Units) Forces(b quantity.Band) string {
	if u == Trade {
		return span(kilo(b.Low), kilo(b.High)) + " kN / " + span(pounds(b.Low), pounds(b.High)) + " lbf"
	}
	return span(kilo(b.Low), kilo(b.High)) + " kN"
}

// Kilonewtons writes a force in N without its unit.
func Kilonewtons(n float64) string { return kilo(n) }

func kilo(n float64) string {
	if math.Abs(n) < 9950 {
		return fixed(n/1000, 1)
	}
	return fixed(n/1000, 0)
}

// pounds writes a force in N as lbf to two or three digits: no load is known better.
func pounds(n float64) string {
	lbf := n / quantity.NewtonsPerPoundForce
	step := 10.0
	if math.Abs(lbf) >= 9950 {
		step = 100
	}
	return thousands(math.Round(lbf/step) * step)
}

// Speed writes a wind speed in kn.
func (u Units) Speed(kt float64) string { return Knots(kt) + " kn" }

// Knots writes a wind speed in kn without its unit.
func Knots(kt float64) string { return fixed(kt, 0) }

// Drift writes a drift in kn.
func (u Units) Drift(kt float64) string { return fixed(kt, 1) + " kn" }

// Drifts writes the ends of a band of drifts in kn.
func (u Units) Drifts(b quantity.Band) string {
	return span(fixed(b.Low, 1), fixed(b.High, 1)) + " kn"
}

// Wave writes a wave height in m to tenths.
func (u Units) Wave(m float64) string {
	if u == Trade {
		return fixed(m, 1) + " m / " + fixed(m/quantity.MetresPerFoot, 0) + " ft"
	}
	return fixed(m, 1) + " m"
}

// Period writes a period in s.
func Period(s float64) string { return fixed(s, 0) + " s" }

// Diameter writes the diameter of a rope or of metal, mm, to tenths where it has some: three eighths of an inch are no 10 mm.
func Diameter(mm float64) string { return Plain(math.Round(10*mm)/10) + " mm" }

// Miles writes a distance in nautical miles: tenths below 10.
func Miles(nm float64) string {
	if nm < 9.95 {
		return fixed(nm, 1) + " NM"
	}
	return fixed(nm, 0) + " NM"
}

// Hours writes a time in h, to tenths.
func Hours(h float64) string {
	if math.Abs(h-math.Round(h)) >= 0.05 {
		return fixed(h, 1) + " h"
	}
	return fixed(h, 0) + " h"
}

// Percent writes a share; a small one is not written as none.
func Percent(share float64) string {
	switch p := 100 * share; {
	case p > 0 && p < 1:
		return "under 1 %"
	default:
		return fixed(p, 0) + " %"
	}
}

// Bearing writes a true direction in degrees with three digits, without its unit.
func Bearing(deg float64) string {
	return fmt.Sprintf("%03.0f", math.Mod(math.Round(deg)+360, 360))
}

// Degrees writes an angle in degrees.
func Degrees(deg float64) string { return fixed(deg, 0) + "°" }

// Clock writes an instant in UTC, without saying so.
func Clock(t time.Time) string { return t.UTC().Format("2 Jan 15:04") }

// Date writes an instant in UTC with its year.
func Date(t time.Time) string { return t.UTC().Format("2 Jan 2006 15:04 UTC") }

// Between writes a stretch of time in UTC, the day once where it is the same.
func Between(from, until time.Time) string {
	from, until = from.UTC(), until.UTC()
	if from.Format(time.DateOnly) == until.Format(time.DateOnly) {
		return Clock(from) + " to " + until.Format("15:04")
	}
	return Clock(from) + " to " + Clock(until)
}

// Position writes a place in degrees and minutes, as charts do.
func Position(latitudeDeg, longitudeDeg float64) string {
	return angle(latitudeDeg, 2, "N", "S") + " " + angle(longitudeDeg, 3, "E", "W")
}

func angle(deg float64, digits int, positive, negative string) string {
	half := positive
	if deg < 0 {
		deg, half = -deg, negative
	}
	minutes := math.Round(deg * 600) // tenths
	return fmt.Sprintf("%0*d°%04.1f'%s", digits, int(minutes)/600, math.Mod(minutes, 600)/10, half)
}

// Figure writes a number of the working to four digits.
func Figure(v float64) string {
	if v != 0 && (math.Abs(v) >= 1e6 || math.Abs(v) < 1e-3) {
		return strconv.FormatFloat(v, 'e', 3, 64)
	}
	return strconv.FormatFloat(v, 'g', 4, 64)
}

// Plain writes a number with as many digits as it has.
func Plain(v float64) string {
	if v == 0 { // not -0
		v = 0
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

func span(low, high string) string {
	if low == high {
		return low
	}
	return low + "-" + high
}

func fixed(v float64, decimals int) string {
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(text, "-0.") == "" {
		return strings.TrimPrefix(text, "-")
	}
	return text
}

// thousands writes a whole number with commas.
func thousands(v float64) string {
	text := strconv.FormatFloat(v, 'f', 0, 64)
	for i := len(text) - 3; i > 0 && text[i-1] != '-'; i -= 3 {
		text = text[:i] + "," + text[i:]
	}
	return text
}
