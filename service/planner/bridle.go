package planner

// BridleAdvice is how she is held at the heading: the heading, the legs and what they bear. Loads are
// for the peak of the worst phase.
type BridleAdvice struct {
	Arrangement   string       `json:"arrangement"` // single_rode, two_legs, square
	HeadingDeg    float64      `json:"heading_off_wind_deg"`
	WishedDeg     *float64     `json:"wished_heading_deg,omitempty"`
	Side          string       `json:"wind_on"` // port, starboard, ahead
	BowPoint      string       `json:"bow_point"`
	AftPoint      string       `json:"aft_point,omitempty"`
	BowLegM       float64      `json:"bow_leg_m"`
	AftLegM       float64      `json:"aft_leg_m"`
	MeetsAtM      float64      `json:"meets_at_m"` // from the bow point to where the legs meet the rode
	BetweenDeg    float64      `json:"angle_between_legs_deg"`
	LegLoads      LegLoads     `json:"leg_loads_n"`
	Stable        bool         `json:"stable"`
	HoldsFromDeg  float64      `json:"holds_from_deg"` // headings these two points can hold
	HoldsToDeg    float64      `json:"holds_to_deg"`
	GustDeg       float64      `json:"heading_in_gust_deg"`
	Shifts        []WindShift  `json:"wind_shifts"`
	Temporary     *SpareBridle `json:"from_spare_line,omitempty"`
	CustomaryDeg  float64      `json:"customary_heading_deg"`
	CustomaryLegM float64      `json:"customary_leg_m,omitempty"`
	Verdict       string       `json:"verdict"` // holds, not_held, no_second_point, not_needed
	Text          string       `json:"text"`
}

// LegLoads are the peak loads of the legs; a single rode has all of it on the bow.
type LegLoads struct {
	BowN Band `json:"bow"`
	AftN Band `json:"aft"`
}

// WindShift is how she lies after the wind has shifted and the sea has not yet.
type WindShift struct {
	ShiftDeg   float64 `json:"wind_shifts_deg"`
	OffWindDeg float64 `json:"heading_off_wind_deg"`
	OffSeaDeg  float64 `json:"heading_off_sea_deg"`
	Text       string  `json:"text"`
}

// SpareBridle is a bridle leg made of a spare line.
type SpareBridle struct {
	Line      string  `json:"line"`
	Knot      string  `json:"knot"`
	NeededM   float64 `json:"needed_m"`
	CapacityN float64 `json:"capacity_n"`
	DemandN   float64 `json:"demand_n"`
	Use       float64 `json:"use"`
	Verdict   string  `json:"verdict"`
}
