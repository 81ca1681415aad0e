package seaway_test

import (
	"math"
	"testing"

	"rideout/service/physics/seaway"
)

func TestSeaStatesFollowOnOneAnother(t *testing.T) {
	t.Parallel()
	last := 0
	for hs := 0.0; hs <= 25; hs += 0.01 {
		state, err := seaway.StateOf(hs)
		if err != nil || state.Code < last || state.Code > last+1 || state.Name == "" {
			t.Fatalf("Hs %g m: %+v after code %d, %v", hs, state, last, err)
		}
		if hs < state.LowM || (state.HighM > 0 && hs > state.HighM) {
			t.Fatalf("Hs %g m is not in %+v", hs, state)
		}
		last = state.Code
	}
	if last != 9 {
		t.Errorf("25 m is code %d, want 9", last)
	}
	refuse(t, "significant wave height", one(seaway.StateOf(-0.1)))
	refuse(t, "significant wave height", one(seaway.StateOf(math.NaN())))
}
