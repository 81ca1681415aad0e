package forecast

import "rideout/service/physics/quantity"

// dimension is what a unit measures.
type dimension string

const (
	speed  dimension = "speed"
	length dimension = "length"
	angle  dimension = "angle"
	period dimension = "time"
)

// unit turns a value into SI by one exact factor: m/s, m, rad or s.
type unit struct {
	of   dimension
	toSI float64
}

// units are the symbols understood: UCUM's case-sensitive codes first, then the spellings of
// UDUNITS that forecast services write in the same place.
var units = func() map[string]unit {
	kt := quantity.MetresPerSecond(1)
	deg := quantity.Degrees(1).Radians()
	table := map[string]unit{}
	for _, row := range []struct {
		unit
		symbols []string
	}{
		{unit{speed, 1}, []string{"m/s", "m.s-1", "m s-1", "m*s-1", "m s^-1", "m s**-1"}},
		{unit{speed, kt}, []string{"[kn_i]", "kt", "kts", "kn", "knot", "knots"}},
		{unit{speed, 1 / 3.6}, []string{"km/h", "km.h-1", "km h-1"}},
		{unit{speed, 0.01}, []string{"cm/s", "cm.s-1", "cm s-1"}},
		{unit{speed, quantity.MetresPerFoot * 5280 / 3600}, []string{"[mi_i]/h", "[mi_i].h-1", "mph"}},
		{unit{length, 1}, []string{"m", "metre", "meter"}},
		{unit{length, 0.01}, []string{"cm"}},
		{unit{length, quantity.MetresPerFoot}, []string{"[ft_i]", "ft"}},
		{unit{length, 6 * quantity.MetresPerFoot}, []string{"[fth_i]", "fathom"}},
		{unit{angle, deg}, []string{"deg", "degree", "degrees", "\u00b0"}},
		{unit{angle, 1}, []string{"rad", "radian"}},
		{unit{period, 1}, []string{"s", "sec", "second"}},
	} {
		for _, s := range row.symbols {
			table[s] = row.unit
		}
	}
	return table
}()

// example is the symbol we suggest for a dimension.
func (d dimension) example() string {
	return map[dimension]string{speed: "m/s", length: "m", angle: "deg", period: "s"}[d]
}
