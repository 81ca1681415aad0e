package planner

// Crew is who does what, and what is agreed and shown and sent.
type Crew struct {
	Roles      []CrewRole       `json:"roles"`
	Signals    []HandSignal     `json:"hand_signals"`
	Shown      []PrescribedSign `json:"lights_shapes_sounds"`
	Securite   string           `json:"securite_text"`
	Hauling    *Hauling         `json:"hauling,omitempty"`
	ShortOf    string           `json:"short_handed,omitempty"` // what the crew aboard is too few for
	CallInTime string           `json:"call_in_time"`
}

// CrewRole is a task and who has it; Who is empty where no crew was named.
type CrewRole struct {
	Role string `json:"role"` // skipper, helm, foredeck, line_tender, lookout
	Who  string `json:"who"`
	Does string `json:"does"`
}

// HandSignal is agreed beforehand, for where no voice carries.
type HandSignal struct {
	Meaning string `json:"meaning"`
	Sign    string `json:"sign"`
}

// PrescribedSign is a light, a shape or a sound a rule prescribes; which applies is the master's decision.
type PrescribedSign struct {
	What string `json:"what"`
	Rule string `json:"rule"`
	Note string `json:"note"`
}

// Hauling is the pull that brings the gear back, against what is there to pull it.
type Hauling struct {
	ByTripLineN Band    `json:"by_trip_line_n"`
	ByRodeN     Band    `json:"by_rode_n"`
	AvailableN  float64 `json:"available_n"`
	From        string  `json:"from"` // windlass, crew
	MinutesByIt float64 `json:"minutes"`
	FloatNeedsN float64 `json:"float_needs_n"` // buoyancy to carry trip line and tripped canopy
	FloatHasN   float64 `json:"float_has_n"`
	Text        string  `json:"text"`
}

// crewRoles are the tasks on deck, in the order they are filled.
var crewRoles = []string{"skipper", "helm", "foredeck", "line_tender", "lookout"}
