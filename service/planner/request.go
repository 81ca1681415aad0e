package planner

import (
	"time"

	"rideout/service/physics/canopy"
	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
	"rideout/service/physics/wind"
)

// Request is everything a plan is computed from, in SI units. It has been checked by Validate
// before Compute sees it. Its JSON form is what the history keeps, so that an old plan can be
// computed again; callers send the contract's form, which the api turns into this.
type Request struct {
	Vessel    Vessel    `json:"vessel"`
	Gear      *Gear     `json:"gear,omitempty"` // nil: nothing is carried, recommend a set
	Position  *Position `json:"position,omitempty"`
	Intent    Intent    `json:"intent"`
	Wish      Wish      `json:"wish"`
	Hazards   []byte    `json:"hazards,omitempty"` // GeoJSON FeatureCollection as sent
	Forecast  Forecast  `json:"forecast"`
	Assume    Assume    `json:"assume"`
	Crew      []Hand    `json:"crew,omitempty"`
	Policy    *Policy   `json:"policy,omitempty"`         // the organisation's; nil: DefaultPolicy
	RodeTried []float64 `json:"rode_lengths_m,omitempty"` // lengths for the curve; empty: chosen from the rode carried

	Calibration *Calibration `json:"calibration,omitempty"` // nil: nothing was asked of outcomes
	Lying       *Lying       `json:"lying,omitempty"`       // nil: her canopy is not out yet
}

// Lying is the sea anchor of a vessel that lies to it already.
type Lying struct {
	RodeOutM float64 `json:"rode_out_m,omitempty"` // 0: not known
}

// Hand is one of the crew, by what they are called aboard. A plan is kept and cannot be changed, so
// initials or a first name are enough.
type Hand struct {
	Name string `json:"name"`
	Role string `json:"role,omitempty"` // skipper, helm, foredeck, line_tender, lookout; empty: none yet
}

// Intent is what the crew means to do on the sea anchor.
type Intent string

// The intents. The zero value is not one of them.
const (
	RideOutStorm Intent = "ride_out_storm"
	SlowDrift    Intent = "slow_drift"
	RepairOrRest Intent = "repair_or_rest"
	Drill        Intent = "drill"
)

// Vessel is the hull and what stands on it. Zero lengths mean "not given" where the comment says
// it may be estimated.
type Vessel struct {
	Name           string        `json:"name"`
	Hull           hull.Kind     `json:"hull"`
	LOAM           float64       `json:"loa_m"`
	LWLM           float64       `json:"lwl_m"` // estimated when 0
	BeamM          float64       `json:"beam_m"`
	DraughtM       float64       `json:"draught_m"`
	FreeboardM     float64       `json:"freeboard_m"` // estimated when 0
	DisplacementKg float64       `json:"displacement_kg"`
	Windage        []wind.Part   `json:"windage,omitempty"` // the whole of it; estimated when empty
	StrongPoints   []StrongPoint `json:"strong_points,omitempty"`
	DesignCategory string        `json:"design_category,omitempty"` // A, B, C or D of ISO 12217
	WindlassPullN  float64       `json:"windlass_pull_n,omitempty"` // maker's working pull; 0: hands alone
	CallSign       string        `json:"call_sign,omitempty"`
	MMSI           string        `json:"mmsi,omitempty"`
}

// StrongPoint is a cleat, bitt or pad eye a rode or bridle can be made fast to. OffCentreM is
// positive to starboard. WorkingLoadN 0 means the builder's figure is unknown.
type StrongPoint struct {
	Name         string  `json:"name"`
	FromBowM     float64 `json:"from_bow_m"`
	OffCentreM   float64 `json:"off_centre_m"`
	WorkingLoadN float64 `json:"working_load_n"`
}

// Gear is the set carried. A nil part is not carried.
type Gear struct {
	Canopy   *Canopy   `json:"canopy,omitempty"`
	Rode     *Rode     `json:"rode,omitempty"`
	Shackles []Shackle `json:"shackles,omitempty"`
	Swivels  []Swivel  `json:"swivels,omitempty"`
	Chain    *Chain    `json:"chain,omitempty"`
	TripLine *TripLine `json:"trip_line,omitempty"`
	Float    *Float    `json:"float,omitempty"`
	Bridle   *Bridle   `json:"bridle,omitempty"`
	Spare    *Spare    `json:"spare_line,omitempty"`
	Chafe    bool      `json:"chafe_gear,omitempty"` // for the fairlead
}

// Bridle is a bridle carried: two legs of one rope, adjustable up to their length.
type Bridle struct {
	Construction rode.Construction  `json:"construction"`
	DiameterMM   float64            `json:"diameter_mm"`
	LegM         float64            `json:"leg_m"`
	Terminations []rode.Termination `json:"terminations,omitempty"`
}

// Spare is a spare line a temporary bridle leg can be made from, and the knot it is bent on with.
type Spare struct {
	Construction rode.Construction `json:"construction"`
	DiameterMM   float64           `json:"diameter_mm"`
	LengthM      float64           `json:"length_m"`
	Knot         rode.Termination  `json:"knot"`
}

// Canopy is the canopy carried, by pattern and nominal diameter.
type Canopy struct {
	Shape     canopy.Shape `json:"shape"`
	DiameterM float64      `json:"diameter_m"`
}

// Rode is the line from the vessel to the canopy.
type Rode struct {
	Construction rode.Construction  `json:"construction"`
	DiameterMM   float64            `json:"diameter_mm"`
	LengthM      float64            `json:"length_m"`
	Terminations []rode.Termination `json:"terminations,omitempty"`
	ChafedShare  float64            `json:"chafed_share"`    // of the section, worn through at the worst place
	BreakingN    float64            `json:"breaking_load_n"` // maker's figure, new and dry; 0: from the table
	AgeYears     float64            `json:"age_years"`       // years in weather
	DataSheet    []rode.Point       `json:"data_sheet,omitempty"`
}

// Shackle is one shackle of the chain, by the diameter of its body.
type Shackle struct {
	BodyMM       float64        `json:"body_mm"`
	WorkingLoadN float64        `json:"working_load_n"` // maker's figure; 0: from the table
	OffLine      quantity.Angle `json:"off_line_rad"`   // how far from its line it is pulled
}

// Swivel is one swivel, by its maker's working load.
type Swivel struct {
	WorkingLoadN float64 `json:"working_load_n"`
}

// Chain is a length of chain at the canopy end.
type Chain struct {
	SizeMM  float64 `json:"size_mm"`
	Grade   int     `json:"grade"` // 30, 43 or 70
	LengthM float64 `json:"length_m"`
}

// TripLine and Float bring the canopy back.
type TripLine struct {
	LengthM    float64 `json:"length_m"`
	DiameterMM float64 `json:"diameter_mm"` // 0: not known
}

// Float carries the trip line's end.
type Float struct {
	BuoyancyN float64 `json:"buoyancy_n"`
}

// Position is a place on the WGS 84 ellipsoid, in degrees: north and east positive.
type Position struct {
	LatitudeDeg  float64 `json:"latitude_deg"`
	LongitudeDeg float64 `json:"longitude_deg"`
}

// Wish is what the crew asks for beyond safety. Nil means no wish.
type Wish struct {
	HeadingOffWind *quantity.Angle `json:"heading_off_wind_rad,omitempty"`
	DriftAtMostMS  *float64        `json:"drift_at_most_m_s,omitempty"`
}

// Forecast is wind and sea against time, at one place, in time order.
type Forecast struct {
	IssuedAt time.Time `json:"issued_at"`
	Source   string    `json:"source"`
	Steps    []Step    `json:"steps"`
}

// Step is the forecast from Time until the next step's. A nil value is missing and is estimated,
// never taken as zero; the wind speed alone must be there.
type Step struct {
	Time          time.Time       `json:"time"`
	WindMS        float64         `json:"wind_speed_m_s"` // 10 m height, 10 min mean
	GustMS        *float64        `json:"gust_m_s,omitempty"`
	WindFrom      *quantity.Angle `json:"wind_from_rad,omitempty"`
	HsM           *float64        `json:"significant_wave_height_m,omitempty"`
	TpS           *float64        `json:"peak_period_s,omitempty"`
	WaveFrom      *quantity.Angle `json:"wave_from_rad,omitempty"`
	SwellHsM      *float64        `json:"swell_height_m,omitempty"` // a second partition; Hs and Tp are then the wind sea's
	SwellTpS      *float64        `json:"swell_peak_period_s,omitempty"`
	CurrentMS     *float64        `json:"current_m_s,omitempty"`
	CurrentToward *quantity.Angle `json:"current_toward_rad,omitempty"`
	DepthM        *float64        `json:"water_depth_m,omitempty"` // nil: deep water
}

// Assume overrides assumed inputs, each as one number; the band of that input collapses to it.
type Assume struct {
	CanopyCd0          *float64 `json:"canopy_cd0,omitempty"`
	CanopyInertiaKg    *float64 `json:"canopy_inertia_kg,omitempty"`
	CanopyDepthM       *float64 `json:"canopy_depth_m,omitempty"`
	DynamicStiffness   *float64 `json:"dynamic_stiffness,omitempty"` // total Kr in breaking loads; 0: the static curve alone
	StaticA            *float64 `json:"static_a,omitempty"`
	RelaxationS        *float64 `json:"relaxation_s,omitempty"`
	RodeBreakingLoadN  *float64 `json:"rode_breaking_load_n,omitempty"` // as used, after derating
	HullAddedMassShare *float64 `json:"hull_added_mass_share,omitempty"`
	HullDragAreaM2     *float64 `json:"hull_drag_area_m2,omitempty"`
	WaveDriftShare     *float64 `json:"wave_drift_share,omitempty"` // multiplies the computed wave drift; 0: off
	WindForceN         *float64 `json:"wind_force_n,omitempty"`
	Seeds              *int     `json:"seeds,omitempty"`
}
