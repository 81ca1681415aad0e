package wind_test

import (
	"fmt"

	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/physics/wind"
)

// A 12 m power vessel of which no areas are known, 30 degrees off a wind of 45 kn.
func Example() {
	u10 := quantity.MetresPerSecond(45)
	parts, err := wind.Estimate(hull.PowerDisplacement, 12.2, 4.0, 0.14*12.2)
	if err != nil {
		fmt.Println(err)
		return
	}
	load, err := wind.Force(parts, u10, quantity.Degrees(30), wind.DesignAveragingS)
	if err != nil {
		fmt.Println(err)
		return
	}
	gust, err := wind.EstimateGust(u10)
	if err != nil {
		fmt.Println(err)
		return
	}
	scale, err := wind.BeaufortOf(u10)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("force %d, %s; gusts %.0f kn (%.0f to %.0f)\n", scale.Force, scale.Name,
		quantity.Knots(gust.Mid), quantity.Knots(gust.Low), quantity.Knots(gust.High))
	for _, p := range parts {
		fmt.Printf("%s: %.1f m2 from ahead, %.1f m2 from the side, centre at %.1f m\n",
			p.Name, p.FrontalAreaM2, p.LateralAreaM2, p.CentreHeightM)
	}
	fmt.Printf("%.0f N astern, %.0f N to leeward, bearing %.1f m aft of the stem\n",
		load.AlongN, load.AcrossN, load.MomentNM/load.AcrossN)
	// Output:
	// force 9, strong gale; gusts 55 kn (51 to 59)
	// topsides: 6.8 m2 from ahead, 20.8 m2 from the side, centre at 0.9 m
	// superstructure: 8.8 m2 from ahead, 22.3 m2 from the side, centre at 2.9 m
	// mast: 0.6 m2 from ahead, 0.6 m2 from the side, centre at 4.5 m
	// rigging: 0.2 m2 from ahead, 0.2 m2 from the side, centre at 4.5 m
	// 4406 N astern, 5412 N to leeward, bearing 5.7 m aft of the stem
}
