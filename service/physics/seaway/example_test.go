package seaway_test

import (
	"fmt"

	"rideout/service/physics/seaway"
)

// A day of 20 m/s (39 kn) over 500 km of sea, and what a 12 m vessel would meet in three hours of it.
func Example() {
	wind, err := seaway.Grow(20, 500e3, 24*3600)
	if err != nil {
		fmt.Println(err)
		return
	}
	grid := seaway.Grid{StepRadS: 0.002, Count: 2000, CutAtPeaks: seaway.CustomaryCut}
	s, err := seaway.JONSWAP(wind.HsM, wind.TpS, seaway.Gamma(wind.HsM, wind.TpS), grid)
	if err != nil {
		fmt.Println(err)
		return
	}
	hazard, err := seaway.BreakingHazard(s, 12, 3*3600, seaway.BeamOn)
	if err != nil {
		fmt.Println(err)
		return
	}
	state, err := seaway.StateOf(wind.HsM)
	if err != nil {
		fmt.Println(err)
		return
	}
	drift, err := seaway.StokesDrift(s, 0)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("significant height %.1f m, peak period %.1f s, limited by %s; sea state %d, %s\n",
		wind.HsM, wind.TpS, wind.LimitedBy, state.Code, state.Name)
	fmt.Printf("zero-crossing period %.1f s, Stokes drift at the surface %.2f m/s\n", s.ZeroCrossingPeriodTz(), drift)
	fmt.Printf("highest wave in 3 h: %.1f m most probable, %.1f m with 90 %% certainty not exceeded\n",
		hazard.MostProbableHighestM, hazard.Highest90M)
	fmt.Printf("a breaking wave of %.1f m (30 %% of length) or more: probability %.2f\n",
		hazard.SomeHeightM, hazard.SomeLikelihood)
	// Output:
	// significant height 6.9 m, peak period 11.3 s, limited by duration; sea state 7, high
	// zero-crossing period 8.7 s, Stokes drift at the surface 0.29 m/s
	// highest wave in 3 h: 13.1 m most probable, 15.0 m with 90 % certainty not exceeded
	// a breaking wave of 3.6 m (30 % of length) or more: probability 0.20
}
