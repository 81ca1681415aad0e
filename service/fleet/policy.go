package fleet

import (
	"time"

	"github.com/google/uuid"

	"rideout/service/physics/hardware"
	"rideout/service/planner"
)

// Policy is the organisation's factors, thresholds and intervals. Start from DefaultPolicy: what a body leaves out
// keeps its default, and what is kept is whole.
type Policy struct {
	lasting

	RopeFactor            float64 `json:"rope_factor"`
	MetalFactor           float64 `json:"metal_factor"`
	StrongPointFactor     float64 `json:"strong_point_factor"`
	StrongPointRuleFactor float64 `json:"strong_point_rule_factor"`
	ShroudFactor          float64 `json:"shroud_factor"`
	MarginalAbove         float64 `json:"marginal_above"`

	RigAboveKt       float64 `json:"rig_above_kt"`
	DeployAboveKt    float64 `json:"deploy_above_kt"`
	DeployAboveHsM   float64 `json:"deploy_above_hs_m"`
	NoDeckAboveKt    float64 `json:"no_deck_work_above_kt"`
	RetrieveBelowKt  float64 `json:"retrieve_below_kt"`
	RetrieveBelowHsM float64 `json:"retrieve_below_hs_m"`
	RigTakesH        float64 `json:"rig_takes_h"`
	BriefTakesH      float64 `json:"brief_takes_h"`
	SettleTakesH     float64 `json:"settle_takes_h"`
	WatchEveryH      float64 `json:"watch_every_h"`
	YawLimitDeg      float64 `json:"yaw_limit_deg"`
	SlackLimit       float64 `json:"slack_limit"`
	AshoreLimit      float64 `json:"ashore_limit"`

	InspectEveryMonths     int     `json:"inspect_every_months"`
	DrillEveryMonths       int     `json:"drill_every_months"`
	RodeRetiredAfterYears  float64 `json:"rode_retired_after_years"`
	RodeRetiredAfterStormH float64 `json:"rode_retired_after_storm_hours"`
	RodeRetiredAtFatigue   float64 `json:"rode_retired_at_fatigue_share"`
	RodeRetiredAtChafe     float64 `json:"rode_retired_at_chafed_share"`

	CanopyRetiredAfterStormH float64 `json:"canopy_retired_after_storm_hours"`

	// UseCalibration computes plans for registered vessels with what their outcomes teach; else plans only state it.
	UseCalibration bool `json:"use_calibration"`

	DesignStorm DesignStorm `json:"design_storm"`
}

// DesignStorm is the weather every vessel's gear must stand.
type DesignStorm struct {
	WindSpeedKt float64 `json:"wind_speed_kt"`
	HsM         float64 `json:"significant_wave_height_m"`
	TpS         float64 `json:"peak_period_s"`
}

// DefaultPolicy gives the planner's defaults, and with them intervals and a design storm of our choice: a yearly
// inspection and drill are common practice (no source); ten years, 200 h of storm, half the fatigue life and a tenth of
// the section are our choice, and 400 h of a canopy; the storm is the middle of Beaufort force 10 with the sea of an open coast, our choice.
func DefaultPolicy() Policy {
	d := planner.DefaultPolicy()
	f := d.Factors
	return Policy{
		RopeFactor: f.RopeFactor, MetalFactor: f.MetalFactor, StrongPointFactor: f.StrongPointFactor,
		StrongPointRuleFactor: f.StrongPointRuleFactor, ShroudFactor: f.ShroudFactor, MarginalAbove: f.MarginalAbove,
		RigAboveKt: d.RigAboveKt, DeployAboveKt: d.DeployAboveKt, DeployAboveHsM: d.DeployAboveHsM, NoDeckAboveKt: d.NoDeckAboveKt,
		RetrieveBelowKt: d.RetrieveBelowKt, RetrieveBelowHsM: d.RetrieveBelowHsM, RigTakesH: d.RigTakesH, BriefTakesH: d.BriefTakesH,
		SettleTakesH: d.SettleTakesH, WatchEveryH: d.WatchEveryH, YawLimitDeg: d.YawLimitDeg, SlackLimit: d.SlackLimit, AshoreLimit: d.AshoreLimit,
		InspectEveryMonths: 12, DrillEveryMonths: 12,
		RodeRetiredAfterYears: 10, RodeRetiredAfterStormH: 200, RodeRetiredAtFatigue: 0.5, RodeRetiredAtChafe: 0.1,
		CanopyRetiredAfterStormH: 400,
		DesignStorm:              DesignStorm{WindSpeedKt: 52, HsM: 8, TpS: 12},
	}
}

// Planned gives the policy as the planner takes it.
func (p Policy) Planned() planner.Policy {
	return planner.Policy{
		Factors: hardware.Policy{
			RopeFactor: p.RopeFactor, MetalFactor: p.MetalFactor, StrongPointFactor: p.StrongPointFactor,
			StrongPointRuleFactor: p.StrongPointRuleFactor, ShroudFactor: p.ShroudFactor, MarginalAbove: p.MarginalAbove,
		},
		RigAboveKt: p.RigAboveKt, DeployAboveKt: p.DeployAboveKt, DeployAboveHsM: p.DeployAboveHsM, NoDeckAboveKt: p.NoDeckAboveKt,
		RetrieveBelowKt: p.RetrieveBelowKt, RetrieveBelowHsM: p.RetrieveBelowHsM, RigTakesH: p.RigTakesH, BriefTakesH: p.BriefTakesH,
		SettleTakesH: p.SettleTakesH, WatchEveryH: p.WatchEveryH, YawLimitDeg: p.YawLimitDeg, SlackLimit: p.SlackLimit, AshoreLimit: p.AshoreLimit,
	}
}

// Check checks that the thresholds fit together and the planner takes them.
func (p *Policy) Check(time.Time) []planner.Problem {
	c := checker{}
	if err := p.Planned().Check(); err != nil {
		c.add("", err.Error(), "send a value within that range")
	}
	if p.DeployAboveKt > p.NoDeckAboveKt {
		c.add("/deploy_above_kt", "lies above no_deck_work_above_kt, when nobody may be on deck", "deploy before deck work ends")
	}
	if p.RetrieveBelowKt > p.DeployAboveKt {
		c.add("/retrieve_below_kt", "lies above deploy_above_kt", "retrieve in less wind than deploys")
	}
	return c.problems
}

// Refs are none.
func (p *Policy) Refs() []Ref { return nil }

// Vessel is none.
func (p *Policy) Vessel() uuid.UUID { return uuid.Nil }
