package measure_test

import (
	"math"
	"testing"
	"time"

	"rideout/api/page/measure"
	"rideout/service/physics/quantity"
)

// Feet by the international foot, 0.3048 m exactly; pounds-force by 4.4482216 N (SI brochure, 9th edition, table 8 and NIST SP 811
// appendix B.8, from memory).
func TestNumbersAreWritten(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 1, 12, 18, 0, 0, 0, time.FixedZone("", 3600))
	for _, c := range []struct{ what, got, want string }{
		{"length", measure.Metric.Length(183), "183 m"},
		{"length in trade units", measure.Trade.Length(183), "183 m / 600 ft"},
		{"short length", measure.Trade.Length(3.5), "3.5 m / 11.5 ft"},
		{"length that rounds to ten", measure.Metric.Length(9.97), "10 m"},
		{"force", measure.Metric.Force(16128), "16 kN"},
		{"force in trade units", measure.Trade.Force(16128), "16 kN / 3,630 lbf"},
		{"great force", measure.Trade.Force(96970), "97 kN / 21,800 lbf"},
		{"force below 10 kN", measure.Metric.Force(9940), "9.9 kN"},
		{"small force", measure.Metric.Force(300), "300 N"},
		{"band of forces", measure.Metric.Forces(quantity.Band{Low: 7877, Mid: 16128, High: 18000}), "7.9-18 kN"},
		{"band without width", measure.Metric.Forces(quantity.Exactly(12000)), "12 kN"},
		{"wind", measure.Metric.Speed(45.4), "45 kn"},
		{"band of drifts", measure.Metric.Drifts(quantity.Band{Low: 1.36, Mid: 1.49, High: 1.86}), "1.4-1.9 kn"},
		{"no negative nought", measure.Metric.Drift(-0.01), "0.0 kn"},
		{"nor on an axis", measure.Plain(math.Copysign(0, -1)), "0"},
		{"wave", measure.Trade.Wave(6), "6.0 m / 20 ft"},
		{"hours to tenths", measure.Hours(19.5), "19.5 h"},
		{"whole hours", measure.Hours(24), "24 h"},
		{"share", measure.Percent(0.082), "8 %"},
		{"small share is not none", measure.Percent(0.004), "under 1 %"},
		{"no share", measure.Percent(0), "0 %"},
		{"bearing", measure.Bearing(5), "005"},
		{"bearing that rounds to north", measure.Bearing(359.8), "000"},
		{"rope", measure.Diameter(22), "22 mm"},
		{"rope of half an inch", measure.Diameter(12.7), "12.7 mm"},
		{"shackle of three eighths of an inch", measure.Diameter(9.525), "9.5 mm"},
		{"instant in UTC", measure.Clock(at), "12 Jan 17:00"},
		{"stretch within a day", measure.Between(at, at.Add(2*time.Hour)), "12 Jan 17:00 to 19:00"},
		{"stretch past midnight", measure.Between(at, at.Add(12*time.Hour)), "12 Jan 17:00 to 13 Jan 05:00"},
		{"place", measure.Position(61.2, -6.4), "61°12.0'N 006°24.0'W"},
		{"place whose minutes round up", measure.Position(-0.99999, 179.99999), "01°00.0'S 180°00.0'E"},
		{"figure", measure.Figure(12345.678), "1.235e+04"},
		{"small figure", measure.Figure(0.00000656), "6.560e-06"},
	} {
		if c.got != c.want {
			t.Errorf("%s: %q, want %q", c.what, c.got, c.want)
		}
	}
}
