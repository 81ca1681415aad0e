package coast_test

import (
	"fmt"

	"rideout/service/physics/coast"
	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
)

// A vessel 60 miles west of Ushant drifts east-south-east at 1.5 kn: which shore is under her lee, and when is she on it?
func Example() {
	from, err := geo.At(48.5, -6.6)
	if err != nil {
		fmt.Println(err)
		return
	}
	plane := geo.NewPlane(from)
	shores, err := coast.Near(plane, 200_000)
	if err != nil {
		fmt.Println(err)
		return
	}
	hazards := append(shores, coast.Line{Name: "a rock from the chart", Points: []geo.XY{{EastM: 60_000, NorthM: -20_000}}})
	index := coast.NewIndex(hazards)

	line, distanceM, at, _ := index.Nearest(geo.XY{}, 200_000)
	near, err := plane.Point(at)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("nearest: %s, %.1f NM, at %.2f N %.2f W\n", hazards[line].Name, distanceM/quantity.MetresPerNauticalMile, near.LatitudeDeg(), -near.LongitudeDeg())

	driftMS := quantity.MetresPerSecond(1.5)
	const hourS = 3600
	position := geo.XY{}
	for hour := range 96 {
		next := geo.XY{EastM: position.EastM + 0.96*driftMS*hourS, NorthM: position.NorthM - 0.28*driftMS*hourS}
		if line, part, ok := index.Crossing(position, next); ok {
			fmt.Printf("ashore after %.0f h, on a %s\n", float64(hour)+part, hazards[line].Name)
			break
		}
		position = next
	}
	fmt.Println(coast.Missing)
	// Output:
	// nearest: a rock from the chart, 34.1 NM, at 48.32 N 5.79 W
	// ashore after 57 h, on a shore
	// Many islets and rocks, and every shoal, are missing from the shore lines used here, and a shore may stand some hundred metres from where it is drawn: use the chart, and give the dangers it shows as hazards.
}
