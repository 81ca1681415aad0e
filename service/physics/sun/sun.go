// Package sun tells when there is light: where the sun stands at an instant, when it rises and sets and
// twilight begins and ends, and which spans of a stretch of time are day, twilight or dark.
//
// The horizon is that of the sea seen from its surface. From 4 m above it the sun sets a quarter of a minute to a
// minute later below latitude 60, and refraction varies with the weather by as much; both are left out.
package sun

import (
	"sort"

	"rideout/service/physics/quantity"
)

// Instant is a moment of UTC in whole seconds since 1970-01-01 00:00, leap seconds not counted: what Unix returns of
// a time.Time. The zero value is a real moment, so it never stands for an unknown one.
type Instant int64

const (
	firstInstant Instant = -631152000 // 1950-01-01 00:00
	lastInstant  Instant = 4133980800 // 2101-01-01 00:00
	daySeconds           = 86400
)

func (t Instant) check() error {
	return quantity.Within("time", float64(t), float64(firstInstant), float64(lastInstant), "s since 1970")
}

// sinceJ2000 gives the days since 2000-01-01 12:00 UTC, Julian date 2451545.0.
func sinceJ2000(unixS float64) float64 { return unixS/daySeconds - 10957.5 }

// deltaT is how far the uniform time of the theory runs ahead of UTC, at the beginning of a year. Up to 2020 it was
// observed, to 0.5 s here between the years given; the rest is a forecast, which may be a minute off in 2100: by then
// 0.0007 degrees of the sun's longitude.
//
// Source: IERS and USNO values and the forecast of Morrison et al. (2021), both by way of skyfield 1.45.
var deltaT = [...]struct{ year, seconds float64 }{
	{1950, 28.9},
	{1960, 33.1},
	{1970, 39.9},
	{1980, 50.5},
	{1990, 56.9},
	{2000, 63.8},
	{2010, 66.1},
	{2020, 69.4},
	{2030, 68.6},
	{2050, 69.8},
	{2075, 77.6},
	{2101, 92.8},
}

func deltaTS(daysJ2000 float64) float64 {
	year := 2000 + daysJ2000/365.25
	i := sort.Search(len(deltaT)-1, func(i int) bool { return deltaT[i].year > year })
	a, b := deltaT[max(i-1, 0)], deltaT[max(i, 1)]
	return a.seconds + (b.seconds-a.seconds)*(year-a.year)/(b.year-a.year)
}
