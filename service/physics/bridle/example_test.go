package bridle_test

import (
	"fmt"

	"rideout/service/physics/bridle"
	"rideout/service/physics/quantity"
)

// A 12 m power vessel of 14 t on a canopy of 5.5 m in 45 kn and a sea of 6 m: the bridle that makes her lie with
// the wind 30 degrees on the port bow, what a gust and a shift do to it, and how she would lie without it.
func Example() {
	bow := bridle.Point{Name: "bow bitt", FromBowM: 0.3}
	aft := bridle.Point{Name: "port midship cleat", FromBowM: 5.6, OffCentreM: -1.9}
	b, err := power.Set(bow, aft, quantity.Degrees(-30), bridle.Limits{})
	if err != nil {
		fmt.Println(err)
		return
	}
	band, _ := power.Spread(b.Legs, b.Heading)
	shifted, _ := power.AfterShift(b.Legs, b.Heading, quantity.Degrees(-60))
	yaw, _ := power.Yaw(bow)
	fmt.Printf("%s, %.0f degrees between them\n", b.Legs, b.LegAngle.Degrees())
	fmt.Printf("rode %.1f kN steady; bow leg bears %.2f of it, aft leg %.2f\n", b.RodeN/1000, b.ForeShare, b.AftShare)
	fmt.Printf("heading %.0f degrees off the wind (%.0f to %.0f)\n", band.Mid, band.Low, band.High)
	fmt.Printf("wind backed 60 degrees: %.0f off the wind, the sea %.0f on the bow\n", shifted.Heading.Degrees(), shifted.SeaOffBow.Degrees())
	fmt.Printf("on the bow alone: within %.0f degrees of the wind (%.0f to %.0f)\n", yaw.AtMostDeg.Mid, yaw.AtMostDeg.Low, yaw.AtMostDeg.High)
	// Output:
	// 3.60 m from bow bitt, 6.49 m from port midship cleat, 60 degrees between them
	// rode 5.9 kN steady; bow leg bears 0.51 of it, aft leg 0.65
	// heading -30 degrees off the wind (-38 to -23)
	// wind backed 60 degrees: -35 off the wind, the sea 25 on the bow
	// on the bow alone: within 2 degrees of the wind (1 to 2)
}
