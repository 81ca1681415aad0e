package geo_test

import (
	"fmt"

	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
)

// A vessel lies to her sea anchor at 49 12 N, 8 42 W and drifts 063 degrees at 1.2 kn for a day. How far off is
// a lee shore at 51 24 N, 9 36 W, before and after?
func Example() {
	start, err := geo.At(49.2, -8.7)
	if err != nil {
		fmt.Println(err)
		return
	}
	shore, err := geo.At(51.4, -9.6)
	if err != nil {
		fmt.Println(err)
		return
	}
	const driftM = 1.2 * 24 * quantity.MetresPerNauticalMile
	after, _, err := geo.Direct(start, quantity.Degrees(63), driftM)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range []geo.Point{start, after} {
		c, err := geo.Inverse(p, shore)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("from %.4f, %.4f: %.1f nautical miles, bearing %03.0f degrees\n", p.LatitudeDeg(), p.LongitudeDeg(),
			c.DistanceM/quantity.MetresPerNauticalMile, c.Initial.Degrees())
	}
	at, err := geo.NewPlane(start).XY(after)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.0f m east, %.0f m north\n", at.EastM, at.NorthM)
	// Output:
	// from 49.2000, -8.7000: 136.6 nautical miles, bearing 346 degrees
	// from 49.4159, -8.0450: 133.3 nautical miles, bearing 334 degrees
	// 47524 m east, 24215 m north
}
