package planner

import (
	"rideout/service/physics/bridle"
	"rideout/service/physics/hardware"
	"rideout/service/physics/quantity"
)

// Policy is an organisation's factors and thresholds. It is printed with every answer. The zero value
// is no policy; start from DefaultPolicy. Thresholds are our choice unless an organisation sets its own.
type Policy struct {
	Factors hardware.Policy `json:"factors"`

	RigAboveKt       float64 `json:"rig_above_kt"`    // rigged before wind or gusts pass it
	DeployAboveKt    float64 `json:"deploy_above_kt"` // lying to it before the wind passes it
	DeployAboveHsM   float64 `json:"deploy_above_hs_m"`
	NoDeckAboveKt    float64 `json:"no_deck_work_above_kt"` // too late to rig or deploy safely
	RetrieveBelowKt  float64 `json:"retrieve_below_kt"`
	RetrieveBelowHsM float64 `json:"retrieve_below_hs_m"`
	RigTakesH        float64 `json:"rig_takes_h"`
	BriefTakesH      float64 `json:"brief_takes_h"`
	SettleTakesH     float64 `json:"settle_takes_h"`
	WatchEveryH      float64 `json:"watch_every_h"` // in settled weather; less as load and chafe rise
	YawLimitDeg      float64 `json:"yaw_limit_deg"`
	SlackLimit       float64 `json:"slack_limit"`
	AshoreLimit      float64 `json:"ashore_limit"` // probability of a shore above which sea room is short
}

// DefaultPolicy gives the defaults.
func DefaultPolicy() Policy {
	return Policy{
		Factors: hardware.DefaultPolicy(), RigAboveKt: 22, DeployAboveKt: 34, DeployAboveHsM: 4, NoDeckAboveKt: 41,
		RetrieveBelowKt: 20, RetrieveBelowHsM: 2.5, RigTakesH: 1.5, BriefTakesH: 0.5, SettleTakesH: 1, WatchEveryH: 2,
		YawLimitDeg: bridle.YawLimit.Value, SlackLimit: 0.25, AshoreLimit: 0.05,
	}
}

// PolicyItem is one factor or threshold, as printed with an answer.
type PolicyItem struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
}

// limits are what an organisation can mean by each threshold.
func (p Policy) limits() []struct {
	PolicyItem
	least, most float64
} {
	type limit = struct {
		PolicyItem
		least, most float64
	}
	of := func(name string, v, least, most float64, unit string) limit {
		return limit{PolicyItem{name, v, unit}, least, most}
	}
	return []limit{
		of("rig before wind or gusts pass", p.RigAboveKt, 5, 60, "kt"),
		of("deploy before the wind passes", p.DeployAboveKt, 10, 70, "kt"),
		of("deploy before the sea passes", p.DeployAboveHsM, 0.5, 15, "m"),
		of("no deck work above", p.NoDeckAboveKt, 15, 80, "kt"),
		of("retrieve in a wind below", p.RetrieveBelowKt, 5, 50, "kt"),
		of("retrieve in a sea below", p.RetrieveBelowHsM, 0.3, 10, "m"),
		of("time to rig", p.RigTakesH, 0.1, 24, "h"),
		of("time to brief", p.BriefTakesH, 0, 24, "h"),
		of("time to settle", p.SettleTakesH, 0, 24, "h"),
		of("watch on the rode, at most every", p.WatchEveryH, 0.1, 12, "h"),
		of("yaw limit", p.YawLimitDeg, 5, 90, "deg"),
		of("share of time the rode may hang slack", p.SlackLimit, 0.01, 0.9, ""),
		of("probability ashore above which sea room is short", p.AshoreLimit, 0.001, 0.9, ""),
	}
}

// Check refuses factors and thresholds that no organisation can mean.
func (p Policy) Check() error {
	if err := p.Factors.Check(); err != nil {
		return err
	}
	for _, l := range p.limits() {
		if err := quantity.Within(l.Name, l.Value, l.least, l.most, l.Unit); err != nil {
			return err
		}
	}
	return nil
}

// items lists the policy as it is printed with every answer.
func (p Policy) items() []PolicyItem {
	var list []PolicyItem
	for _, f := range p.Factors.Items() {
		list = append(list, PolicyItem{Name: f.Name, Value: f.Value})
	}
	for _, l := range p.limits() {
		list = append(list, l.PolicyItem)
	}
	return list
}

// policyOf is the organisation's policy, or the defaults.
func policyOf(r Request) Policy {
	if r.Policy != nil {
		return *r.Policy
	}
	return DefaultPolicy()
}
