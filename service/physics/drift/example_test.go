package drift_test

import (
	"fmt"

	"rideout/service/physics/drift"
	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
)

// leeShore runs north and south, 70 nautical miles east of the start.
type leeShore struct{}

func (leeShore) Crossing(a, b geo.XY) (line int, at float64, ok bool) {
	const eastM = 70 * quantity.MetresPerNauticalMile
	if b.EastM < eastM {
		return 0, 0, false
	}
	return 0, (eastM - a.EastM) / (b.EastM - a.EastM), true
}

// A westerly gale for two days, 70 miles off a lee shore, and a current of half a knot toward it. She lies to her
// canopy, at about a knot through the water; under bare poles she would make 2.5 kn.
func Example() {
	start, err := geo.At(50, -7)
	if err != nil {
		fmt.Println(err)
		return
	}
	lying := func(lowKt, midKt, highKt, divergenceDeg float64, mode int) []drift.Span {
		return []drift.Span{{
			Hours: 48, Toward: quantity.Degrees(80),
			SpeedMS:       quantity.Band{Low: lowKt, Mid: midKt, High: highKt}.Scale(quantity.MetresPerSecond(1)),
			Divergence:    quantity.Degrees(divergenceDeg),
			CurrentEastMS: quantity.MetresPerSecond(0.5), Mode: mode,
		}}
	}
	canopy := drift.Case{
		Start: start, Spans: lying(0.7, 1.0, 1.5, 10, 1), Spread: drift.DefaultSpread(),
		Obstacles: leeShore{}, Particles: 2000, Seed: 1,
	}
	e, err := drift.Run(canopy)
	if err != nil {
		fmt.Println(err)
		return
	}
	day := e.Mean[24]
	fmt.Printf("after %.0f h: %.2f N %.2f W on average\n", day.AtH, day.Point.LatitudeDeg(), -day.Point.LongitudeDeg())
	regions, err := e.Regions(day.AtH, 0.5, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, r := range regions {
		const nm = quantity.MetresPerNauticalMile
		fmt.Printf("%.0f %% within an ellipse of %.0f by %.0f NM, %.0f square miles\n",
			100*r.Share, 2*r.SemiMajorM/nm, 2*r.SemiMinorM/nm, r.AreaM2/nm/nm)
	}
	for _, h := range []float64{24, 36, 48} {
		p := e.Ashore.By(h)
		fmt.Printf("ashore within %.0f h: %.1f %% (%.1f to %.1f by the number of particles)\n",
			h, 100*p.Mid, 100*p.Low, 100*p.High)
	}
	a := e.Ashore.Arrival()
	fmt.Printf("time to the shore: %s, %s, %s\n", say(a.Low), say(a.Mid), say(a.High))
	fmt.Printf("call for help that takes 6 h by: %s\n", say(e.Ashore.NotLaterThan(0.05, 6).When))

	bare := canopy
	bare.Spans = lying(1.7, 2.5, 3.3, 30, 0)
	latest, err := drift.LatestChange(bare, canopy.Spans, 0.20, 36)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("deploy, so that at most 20 %% are ashore within 36 h, by: %s\n", say(latest.When))
	// Output:
	// after 24 h: 50.07 N 6.06 W on average
	// 50 % within an ellipse of 18 by 16 NM, 233 square miles
	// 95 % within an ellipse of 40 by 35 NM, 1100 square miles
	// ashore within 24 h: 0.1 % (0.0 to 0.3 by the number of particles)
	// ashore within 36 h: 9.8 % (8.5 to 11.1 by the number of particles)
	// ashore within 48 h: 52.6 % (50.4 to 54.8 by the number of particles)
	// time to the shore: 33.6 h, 47.3 h, not within the forecast
	// call for help that takes 6 h by: 27.6 h
	// deploy, so that at most 20 % are ashore within 36 h, by: 4.0 h
}

func say(w drift.When) string {
	if !w.Within {
		return "not within the forecast"
	}
	return fmt.Sprintf("%.1f h", w.Hours)
}
