package planner

import (
	"time"

	"rideout/service/physics/quantity"
)

// Plan is the document a caller reads and the history keeps: its JSON form is the contract's
// schema Plan, byte for byte. Numbers are in the units their names say; a Band is {low, mid, high}.
type Plan struct {
	ID          string             `json:"id,omitempty"` // given when the plan is kept
	CreatedAt   *time.Time         `json:"created_at,omitempty"`
	Engine      string             `json:"engine"`
	InputSHA256 string             `json:"input_sha256"`
	VesselName  string             `json:"vessel_name"`
	Intent      Intent             `json:"intent"`
	Lying       *Lying             `json:"lying,omitempty"` // nil: her canopy is not out yet
	Summary     string             `json:"summary"`
	Phases      []Phase            `json:"phases"`
	Loads       Loads              `json:"loads"`
	Canopy      CanopyAdvice       `json:"canopy"`
	Rode        RodeAdvice         `json:"rode"`
	Hardware    []Part             `json:"hardware"`
	ChangeFirst []Upgrade          `json:"change_first"` // what each next change of gear would buy
	Bridle      *BridleAdvice      `json:"bridle,omitempty"`
	Hours       []Hour             `json:"hours"`
	Steps       []Instruction      `json:"steps"`
	Crew        *Crew              `json:"crew,omitempty"`
	SeaRoom     *SeaRoom           `json:"sea_room,omitempty"` // nil without a position or a wind direction
	Recommended []SetItem          `json:"recommended_set"`
	Comparison  []Comparison       `json:"comparison"`
	Assumptions []Assumption       `json:"assumptions"`
	Bands       Bands              `json:"bands"`
	Policy      []PolicyItem       `json:"policy"`
	Calibration *CalibrationStated `json:"calibration,omitempty"` // nil: the vessel was sent, not named
	Warnings    []Warning          `json:"warnings"`
	Cautions    []string           `json:"cautions"`
	Method      Method             `json:"method"`
	Links       map[string]string  `json:"links,omitempty"`
}

// Phase is the hours of the forecast with one character, and what to do in them.
type Phase struct {
	Name            string     `json:"name"` // calm, strong_wind, gale, storm
	From            time.Time  `json:"from"`
	Until           time.Time  `json:"until"`
	Hours           float64    `json:"hours"`
	WindKt          float64    `json:"wind_speed_kt"` // the greatest in the phase
	GustKt          float64    `json:"gust_kt"`
	BeaufortForce   int        `json:"beaufort_force"`
	HsM             float64    `json:"significant_wave_height_m"` // of the worst step
	TpS             float64    `json:"peak_period_s"`
	SeaStateCode    int        `json:"sea_state_code"`
	WindFromDeg     *float64   `json:"wind_from_deg,omitempty"`
	WaveFromDeg     *float64   `json:"wave_from_deg,omitempty"`
	WorstAt         time.Time  `json:"worst_at"`
	Loads           Loads      `json:"loads"`
	Spans           []Span     `json:"spans"`         // when it holds, in time order
	GustSteadyN     float64    `json:"gust_steady_n"` // steady force in the forecast gust, a sensitivity
	DesignPeakN     float64    `json:"design_peak_n"` // the middle estimate of the peak, against which parts are judged
	PayOutM         float64    `json:"pay_out_m"`
	PayOutReason    string     `json:"pay_out_reason"`
	CanopyCollapses float64    `json:"canopy_collapses_per_hour"` // slack spells longer than the canopy takes to fill
	SnapsPerHour    float64    `json:"snaps_per_hour"`
	FatigueShare    Band       `json:"fatigue_share"` // of the rode's life, over the phase's hours
	CrestStrikeN    Band       `json:"crest_strike_n"`
	Breaking        []Breaking `json:"breaking_hazard"`
	Estimated       []string   `json:"estimated"` // forecast values that were not given
	Advice          string     `json:"advice"`
}

// Span is a stretch of time.
type Span struct {
	From  time.Time `json:"from"`
	Until time.Time `json:"until"`
}

// Band is the wire form of an uncertain number.
type Band = quantity.Band

// Loads are the forces in the rode at the vessel, and the drift.
type Loads struct {
	SteadyN            Band `json:"steady_n"`
	DriftKt            Band `json:"drift_kt"`
	MeanN              Band `json:"mean_n"`
	StandardDeviationN Band `json:"standard_deviation_n"`
	MostProbablePeakN  Band `json:"most_probable_peak_n"`
	PeakN              Band `json:"peak_n"` // 90 % of 3 h maxima stay below
	SlackShare         Band `json:"slack_share"`
	PeakStandardErrorN Band `json:"peak_standard_error_n"` // Monte-Carlo
}

// Breaking is the hazard of breaking waves for one way of lying.
type Breaking struct {
	Lying               string  `json:"lying"` // bow_to, beam_on
	HeightLOA30M        float64 `json:"height_30_percent_loa_m"`
	HeightLOA60M        float64 `json:"height_60_percent_loa_m"`
	ProbabilityOf30In3h float64 `json:"probability_30_percent_in_3h"`
	ProbabilityOf60In3h float64 `json:"probability_60_percent_in_3h"`
	Comment             string  `json:"comment"`
}

// CanopyAdvice is the size to carry and what is said of the one carried.
type CanopyAdvice struct {
	Shape                string       `json:"shape"`
	RecommendedDiameterM float64      `json:"recommended_diameter_m"`
	CarriedDiameterM     *float64     `json:"carried_diameter_m,omitempty"`
	UsedDiameterM        float64      `json:"used_diameter_m"` // the one the loads are computed for
	Verdict              string       `json:"verdict"`         // suits, small, large, not_carried, not_possible
	Reason               string       `json:"reason"`
	DepthM               float64      `json:"depth_m"` // the one the loads are computed for
	NeededDepthM         float64      `json:"needed_depth_m"`
	FillingLoadN         Band         `json:"filling_load_n"`
	Sizes                []CanopySize `json:"sizes"` // the ladder that was tried
}

// CanopySize is one rung of the ladder of sizes.
type CanopySize struct {
	DiameterM float64 `json:"diameter_m"`
	DriftKt   float64 `json:"drift_kt"`
	PeakN     float64 `json:"peak_n"`
	YawDeg    Band    `json:"yaw_deg"` // how far off the wind the bow falls on a single rode, at most
	Verdict   string  `json:"verdict"`
}

// RodeAdvice is how much to pay out and what it buys.
type RodeAdvice struct {
	PayOutM       float64      `json:"pay_out_m"` // for the worst phase
	CarriedM      *float64     `json:"carried_m,omitempty"`
	RecommendedM  float64      `json:"recommended_length_m"`
	RecommendedMM float64      `json:"recommended_diameter_mm"`
	Construction  string       `json:"construction"`
	DiameterMM    float64      `json:"diameter_mm"`
	BreakingNewN  float64      `json:"breaking_load_new_n"`
	BreakingUsedN float64      `json:"breaking_load_as_used_n"`
	WorkingLoadN  float64      `json:"working_load_n"`
	Verdict       string       `json:"verdict"` // suits, short, weak, not_carried
	Reason        string       `json:"reason"`
	Curve         []RodeLength `json:"curve"`
	FatigueShare  Band         `json:"fatigue_share"` // of the rode's life, whole forecast
}

// RodeLength is one point of the curve of peak load against rode length, in the worst phase.
type RodeLength struct {
	LengthM            float64 `json:"length_m"`
	MeanN              Band    `json:"mean_n"`
	StandardDeviationN Band    `json:"standard_deviation_n"`
	PeakN              Band    `json:"peak_n"`
	SlackShare         Band    `json:"slack_share"`
	Use                Band    `json:"use"` // of the weakest part's capacity
}

// Part is one part of the chain from strong point to canopy.
type Part struct {
	Part      string  `json:"part"`
	CapacityN float64 `json:"capacity_n"`
	DemandN   float64 `json:"demand_n"`
	Use       float64 `json:"use"`
	Verdict   string  `json:"verdict"`
	Basis     string  `json:"basis"`
	Governing bool    `json:"governing"`
}

// Upgrade is one change of gear and what it buys: the use of the weakest part before and after.
type Upgrade struct {
	Change     string  `json:"change"`
	Part       string  `json:"part"`
	UseBefore  float64 `json:"use_before"`
	UseAfter   float64 `json:"use_after"` // of the part
	WeakestUse float64 `json:"weakest_use_after"`
	Weakest    string  `json:"weakest_part_after"`
	Text       string  `json:"text"`
}

// SetItem is one part of the whole set recommended for this vessel and forecast.
type SetItem struct {
	Part string `json:"part"`
	Size string `json:"size"`
	Why  string `json:"why"`
}

// Comparison sets one of our figures beside a rule of thumb or a table.
type Comparison struct {
	What      string  `json:"what"`
	Ours      float64 `json:"ours"`
	Reference float64 `json:"reference"`
	Unit      string  `json:"unit"`
	Source    string  `json:"source"`
	Comment   string  `json:"comment"`
}

// Assumption is a value that was not given.
type Assumption struct {
	Name   string `json:"name"`
	Value  Band   `json:"value"`
	Unit   string `json:"unit"`
	Source string `json:"source"`
	Why    string `json:"why"`
}

// Bands says what is uncertain and which input drives the answer.
type Bands struct {
	Drives string      `json:"drives"` // the input that moves the peak most
	Text   string      `json:"text"`
	Inputs []BandInput `json:"inputs"`
}

// BandInput is one uncertain input and the peak load at its ends, the others at their middle.
type BandInput struct {
	Name   string `json:"name"`
	Value  Band   `json:"value"`
	Unit   string `json:"unit"`
	Source string `json:"source"`
	PeakN  Band   `json:"peak_n"`
	Drives bool   `json:"drives"`
}

// Warning names a limit of the model that the case touches.
type Warning struct {
	Code    string `json:"code"`
	Message string `json:"message"`
}

// Method says how the numbers were computed.
type Method struct {
	Seeds               int     `json:"seeds"`
	RecordHours         float64 `json:"record_hours"`
	TimeStepS           float64 `json:"time_step_s"`
	StepsScreened       int     `json:"forecast_steps_screened"`
	ScreenOverConfirmed Band    `json:"screen_over_confirmed_peak"` // frequency domain divided by time domain
	SimulatedHours      float64 `json:"simulated_hours"`
	Text                string  `json:"text"`
}

// WorkingStep is one step of the working, so that an engineer can follow it by hand.
type WorkingStep struct {
	Section string         `json:"section"`
	Title   string         `json:"title"`
	Formula string         `json:"formula"`
	Values  []WorkingValue `json:"values"`
	Source  string         `json:"source"`
}

// WorkingValue is one symbol of a step.
type WorkingValue struct {
	Symbol  string  `json:"symbol"`
	Meaning string  `json:"meaning"`
	Value   float64 `json:"value"`
	Unit    string  `json:"unit"`
	Result  bool    `json:"result,omitempty"`
}
