package store

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/planner"
)

const (
	insertDeployedGear = `
INSERT INTO deployed_gear (org_id, gear_id, deployment_id)
SELECT @org, gear::uuid, @deployment
FROM json_array_elements_text(@body::json -> 'gear_ids') AS gear
ON CONFLICT DO NOTHING`
	selectUnforeseen = `
SELECT answer, inputs
FROM plans p
WHERE org_id = @org AND id = @plan AND NOT EXISTS (SELECT FROM foreseen WHERE org_id = p.org_id AND plan_id = p.id)`
	insertForeseen = `
INSERT INTO foreseen (org_id, plan_id, wear, outcomes)
VALUES (@org, @plan, @wear, @outcomes)
ON CONFLICT DO NOTHING`
)

// linkDeployment keeps beside a deployment what is looked up from it on.
func (r *recorder) linkDeployment(ctx context.Context, v service.Version) error {
	args := pgx.NamedArgs{"org": r.org, "deployment": v.ID, "plan": v.Under, "body": string(v.Body)}
	if _, err := r.tx.Exec(ctx, insertDeployedGear, args); err != nil {
		return unavailable(ctx, err)
	}
	rows, err := r.tx.Query(ctx, selectUnforeseen, args)
	if err != nil {
		return unavailable(ctx, err)
	}
	found, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (p service.PlanRecord, err error) {
		return p, row.Scan(&p.Answer, &p.Inputs)
	})
	if err != nil || len(found) == 0 {
		return unavailable(ctx, err)
	}
	wear, foreseen, err := service.Foresees(found[0])
	if err != nil {
		return err
	}
	for name, value := range map[string]any{"wear": wear, "outcomes": foreseen} {
		text, err := json.Marshal(value)
		if err != nil {
			return fmt.Errorf("encode what plan %s foresees: %w", v.Under, err)
		}
		args[name] = text
	}
	_, err = r.tx.Exec(ctx, insertForeseen, args)
	return unavailable(ctx, err)
}

// Of each piece of gear the deployments that ever named it, each with its version in force if that names it still, and the
// end of its retrieval.
const selectLyings = `
SELECT g.gear_id, d.id, d.under, d.vessel_id, (d.body ->> 'deployed_at')::timestamptz, back.ended_at, f.wear
FROM deployed_gear g
CROSS JOIN LATERAL (
    SELECT id, under, vessel_id, body
    FROM records
    WHERE org_id = @org AND kind = 'deployment' AND id = g.deployment_id AND valid_from <= @valid_at AND recorded_at <= @known_at
    ORDER BY valid_from DESC, seq DESC
    LIMIT 1
) d
LEFT JOIN LATERAL (
    SELECT (body ->> 'ended_at')::timestamptz AS ended_at
    FROM records
    WHERE org_id = @org AND kind = 'retrieval' AND id = d.id AND valid_from <= @valid_at AND recorded_at <= @known_at
    ORDER BY valid_from DESC, seq DESC
    LIMIT 1
) back ON true
JOIN foreseen f ON f.org_id = @org AND f.plan_id = d.under
WHERE g.org_id = @org AND g.gear_id = ANY(@gear)
    AND g.gear_id::text IN (SELECT json_array_elements_text(d.body -> 'gear_ids'))
ORDER BY g.gear_id, d.id`

// Lyings reads the deployments in force that name pieces of gear, by gear.
func (r *reader) Lyings(ctx context.Context, gear []uuid.UUID, at service.AsOf) (map[uuid.UUID][]fleet.Lying, error) {
	lain := map[uuid.UUID][]fleet.Lying{}
	if len(gear) == 0 {
		return lain, nil
	}
	rows, err := r.tx.Query(ctx, selectLyings, pgx.NamedArgs{"org": r.org, "gear": gear, "valid_at": at.ValidAt, "known_at": at.KnownAt})
	if err != nil {
		return nil, unavailable(ctx, err)
	}
	wears := map[uuid.UUID][]planner.PhaseWear{} // a plan's is read once
	_, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (none struct{}, err error) {
		var item uuid.UUID
		var vessel uuid.NullUUID
		var l fleet.Lying
		var wear []byte
		if err := row.Scan(&item, &l.DeploymentID, &l.PlanID, &vessel, &l.From, &l.Until, &wear); err != nil {
			return none, err
		}
		if wears[l.PlanID] == nil {
			var read []planner.PhaseWear
			if err := json.Unmarshal(wear, &read); err != nil {
				return none, fmt.Errorf("read the wear of plan %s: %w", l.PlanID, err)
			}
			wears[l.PlanID] = read
		}
		l.VesselID, l.Wear, l.From = vessel.UUID, wears[l.PlanID], l.From.UTC()
		if l.Until != nil {
			ended := l.Until.UTC()
			l.Until = &ended
		}
		lain[item] = append(lain[item], l)
		return none, nil
	})
	return lain, unavailable(ctx, err)
}

// The newest observations in force, each with its deployment in force and what the plan foresaw.
const selectTrials = `
SELECT o.id, o.body, d.id, d.under, d.vessel_id, d.body, f.outcomes
FROM (SELECT id FROM records WHERE org_id = @org AND kind = 'observation' AND version = 1 AND recorded_at <= @known_at ORDER BY id DESC LIMIT @most) ever
CROSS JOIN LATERAL (
    SELECT id, under, body
    FROM records
    WHERE org_id = @org AND kind = 'observation' AND id = ever.id AND valid_from <= @valid_at AND recorded_at <= @known_at
    ORDER BY valid_from DESC, seq DESC
    LIMIT 1
) o
CROSS JOIN LATERAL (
    SELECT id, under, vessel_id, body
    FROM records
    WHERE org_id = @org AND kind = 'deployment' AND id = o.under AND valid_from <= @valid_at AND recorded_at <= @known_at
    ORDER BY valid_from DESC, seq DESC
    LIMIT 1
) d
JOIN foreseen f ON f.org_id = @org AND f.plan_id = d.under
WHERE o.body ->> 'drift' IS NOT NULL OR o.body ->> 'load_n' IS NOT NULL
ORDER BY o.id`

// Trials reads what was observed beside what the plans foresaw, in the order of the observations' ids.
func (r *reader) Trials(ctx context.Context, at service.AsOf) ([]service.Trial, error) {
	rows, err := r.tx.Query(ctx, selectTrials, pgx.NamedArgs{
		"org": r.org, "valid_at": at.ValidAt, "known_at": at.KnownAt, "most": service.MostTrials,
	})
	if err != nil {
		return nil, unavailable(ctx, err)
	}
	foreseen := map[uuid.UUID]*planner.Foreseen{} // a plan's is read once
	outcomes, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (o service.Trial, err error) {
		var observed, deployed, outlook []byte
		var vessel uuid.NullUUID
		if err := row.Scan(&o.ID, &observed, &o.DeploymentID, &o.PlanID, &vessel, &deployed, &outlook); err != nil {
			return o, err
		}
		o.VesselID = vessel.UUID
		if foreseen[o.PlanID] == nil {
			read := &planner.Foreseen{}
			if err := json.Unmarshal(outlook, read); err != nil {
				return o, fmt.Errorf("read what plan %s foresaw: %w", o.PlanID, err)
			}
			foreseen[o.PlanID] = read
		}
		o.Foreseen = foreseen[o.PlanID]
		if err := json.Unmarshal(observed, &o.Observation); err != nil {
			return o, fmt.Errorf("read observation %s: %w", o.ID, err)
		}
		if err := json.Unmarshal(deployed, &o.Deployment); err != nil {
			return o, fmt.Errorf("read deployment %s: %w", o.DeploymentID, err)
		}
		return o, nil
	})
	return outcomes, unavailable(ctx, err)
}
