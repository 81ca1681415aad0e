package seaway

import "rideout/service/physics/quantity"

// SeaState is a row of the sea-state code: the significant heights it covers, in m, and its name.
// The last row is open and has HighM zero.
type SeaState struct {
	Code        int
	LowM, HighM float64
	Name        string
}

// seaStates is WMO code table 3700, state of the sea; a height on a border belongs to the lower code.
// Heights read in a copy of the table, names from memory.
var seaStates = [...]SeaState{
	{0, 0, 0, "calm (glassy)"},
	{1, 0, 0.1, "calm (rippled)"},
	{2, 0.1, 0.5, "smooth (wavelets)"},
	{3, 0.5, 1.25, "slight"},
	{4, 1.25, 2.5, "moderate"},
	{5, 2.5, 4, "rough"},
	{6, 4, 6, "very rough"},
	{7, 6, 9, "high"},
	{8, 9, 14, "very high"},
	{9, 14, 0, "phenomenal"},
}

// StateOf returns the sea state of a significant height in m (0 to 25).
//
// Source: WMO-No. 306, code table 3700.
func StateOf(hsM float64) (SeaState, error) {
	if err := quantity.Within("significant wave height", hsM, 0, maxSignificantM, "m"); err != nil {
		return SeaState{}, err
	}
	last := len(seaStates) - 1
	for _, state := range seaStates[:last] {
		if hsM <= state.HighM {
			return state, nil
		}
	}
	return seaStates[last], nil
}
