package service

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
	"rideout/service/planner"
)

// GearUse is what a piece of gear has borne as of two times, and when the policy retires it.
type GearUse struct {
	GearID  uuid.UUID `json:"gear_id"`
	Kind    string    `json:"kind"`
	Name    string    `json:"name,omitempty"`
	ValidAt time.Time `json:"valid_at"`
	KnownAt time.Time `json:"known_at"`
	fleet.Use
	Own    OwnUse            `json:"recorded_on_item"`
	Limits *UseLimits        `json:"limits"` // nil: the policy has none for such gear
	Method string            `json:"method"`
	Links  map[string]string `json:"links"`
}

// OwnUse is what the item itself says of use before, or beside, the deployments.
type OwnUse struct {
	StormHours   float64 `json:"storm_hours"`
	FatigueShare float64 `json:"fatigue_share"`
}

// UseLimits is when the policy retires a piece of gear.
type UseLimits struct {
	StormHours   float64  `json:"storm_hours"`
	FatigueShare *float64 `json:"fatigue_share,omitempty"` // of a rode
	Reached      bool     `json:"reached"`
}

const useMethod = "Added up anew from the deployments in force that name it, so a deployment logged late or corrected counts from then on and not before. " +
	"Each deployment's hours, from deployed_at to the end of the retrieval, are shared out over the phases of its plan; hours before and after the forecast count as the phase nearest. " +
	"Hours of storm are those in a gale or storm. Of the rode's life each hour uses up the share the plan computed for the worst hour of its phase, and shares are summed (Palmgren-Miner). " +
	"Not retrieved, she is taken to lie until valid_at or the end of the forecast. It is the weather forecast that counts, and the rode as planned; chafe does not. Limits are held against the middle."

// Use adds up what a piece of gear has borne.
func (r *Registers) Use(ctx context.Context, org OrgID, id uuid.UUID, at AsOf) (use GearUse, _ AsOf, err error) {
	at = r.asked(at)
	err = r.History.View(ctx, org, at.KnownAt, func(ctx context.Context, reader Reader) error {
		if at, err = r.settle(ctx, reader, at); err != nil {
			return err
		}
		use, err = useOf(ctx, reader, org, id, at)
		return err
	})
	return use, at, sortedFor(fleet.KindGear, err)
}

func useOf(ctx context.Context, reader Reader, org OrgID, id uuid.UUID, at AsOf) (GearUse, error) {
	v, err := reader.InForce(ctx, fleet.KindGear, id, at)
	if err != nil {
		return GearUse{}, err
	}
	var item fleet.GearItem
	if err := json.Unmarshal(v.Body, &item); err != nil {
		return GearUse{}, fmt.Errorf("read gear item %s: %w", id, err)
	}
	policy, err := policyAt(ctx, reader, org, at)
	if err != nil {
		return GearUse{}, err
	}
	lain, err := reader.Lyings(ctx, []uuid.UUID{id}, at)
	if err != nil {
		return GearUse{}, err
	}
	path := fleet.Describe(fleet.KindGear).Path + "/" + id.String()
	use := GearUse{
		GearID: id, Kind: item.Kind, Name: item.Name, ValidAt: at.ValidAt, KnownAt: at.KnownAt,
		Use: fleet.UseOf(item, lain[id], at.ValidAt), Own: OwnUse{item.StormHours, item.FatigueShare},
		Method: useMethod, Links: map[string]string{"self": path + "/use", "gear": path},
	}
	use.Limits = limitsOf(use, policy)
	return use, nil
}

func limitsOf(u GearUse, p fleet.Policy) *UseLimits {
	switch u.Kind {
	case "rode":
		return &UseLimits{
			StormHours: p.RodeRetiredAfterStormH, FatigueShare: &p.RodeRetiredAtFatigue,
			Reached: u.StormHours >= p.RodeRetiredAfterStormH || u.FatigueShare.Mid >= p.RodeRetiredAtFatigue,
		}
	case "canopy":
		return &UseLimits{StormHours: p.CanopyRetiredAfterStormH, Reached: u.StormHours >= p.CanopyRetiredAfterStormH}
	}
	return nil
}

// Foresees takes from a kept plan what its outcomes are held against.
func Foresees(p PlanRecord) ([]planner.PhaseWear, planner.Foreseen, error) {
	plan, req, err := p.open()
	if err != nil {
		return nil, planner.Foreseen{}, err
	}
	return planner.WearOf(plan), planner.ForeseenBy(plan, req), nil
}
