package planner

// Instruction is one step of the work on deck, with its reason and its hazard.
type Instruction struct {
	Stage  string `json:"stage"` // prepare, deploy, lie, retrieve, trouble
	Number int    `json:"number"`
	Who    string `json:"who"` // a role of the crew
	Do     string `json:"do"`
	Why    string `json:"why"`
	Hazard string `json:"hazard"`
}
