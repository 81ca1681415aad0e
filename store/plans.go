package store

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
)

const selectPlan = `
SELECT id, created_at, vessel_name, intent, engine, input_sha256, peak_low_n, peak_mid_n, peak_high_n, pay_out_m,
    vessel_id, supersedes, inputs, answer, working,
    coalesce((SELECT by FROM changes c WHERE c.org_id = p.org_id AND c.kind = 'plan' AND c.entity_id = p.id), '')
FROM plans p
WHERE org_id = $1 AND id = $2`

// Plan returns service.ErrNotFound for an id that is unknown or another organisation's.
func (s *Store) Plan(ctx context.Context, org service.OrgID, id uuid.UUID) (p service.PlanRecord, err error) {
	var vessel, supersedes uuid.NullUUID
	err = s.inOrg(ctx, org, pgx.ReadOnly, func(tx *transaction) error {
		return found(ctx, tx.QueryRow(ctx, selectPlan, org, id).Scan(
			&p.ID, &p.CreatedAt, &p.VesselName, &p.Intent, &p.Engine, &p.InputSHA256,
			&p.PeakN.Low, &p.PeakN.Mid, &p.PeakN.High, &p.PayOutM, &vessel, &supersedes, &p.Inputs, &p.Answer, &p.Working, &p.By))
	})
	p.VesselID, p.Supersedes = vessel.UUID, supersedes.UUID
	if err != nil {
		return service.PlanRecord{}, fmt.Errorf("plan %s: %w", id, err)
	}
	return p, nil
}

const (
	selectAnswer = `
SELECT answer
FROM plans
WHERE org_id = @org AND id = @id`
	selectAnswerSHA256 = `
SELECT body_sha256
FROM changes
WHERE org_id = @org AND kind = 'plan' AND entity_id = @id AND version = 1`
)

// PlanAnswer reads a plan's answer alone, in one round trip.
func (s *Store) PlanAnswer(ctx context.Context, org service.OrgID, id uuid.UUID) (answer []byte, err error) {
	if err := s.readRow(ctx, org, selectAnswer, pgx.NamedArgs{"org": org, "id": id}, &answer); err != nil {
		return nil, fmt.Errorf("answer of plan %s: %w", id, err)
	}
	return answer, nil
}

// PlanSHA256 reads the hash of a plan's answer, which the log has, in one round trip.
func (s *Store) PlanSHA256(ctx context.Context, org service.OrgID, id uuid.UUID) (sum string, err error) {
	if err := s.readRow(ctx, org, selectAnswerSHA256, pgx.NamedArgs{"org": org, "id": id}, &sum); err != nil {
		return "", fmt.Errorf("hash of plan %s: %w", id, err)
	}
	return sum, nil
}

const selectPlans = `
SELECT id, created_at, vessel_name, intent, engine, input_sha256, peak_low_n, peak_mid_n, peak_high_n, pay_out_m,
    vessel_id, supersedes
FROM plans
WHERE org_id = @org`

// Plans returns a page of at most limit plans. One row more is read to tell whether there is more.
func (s *Store) Plans(ctx context.Context, org service.OrgID, filter service.PlanFilter, from service.Place, limit int) (service.PlanPage, error) {
	if limit < 1 {
		return service.PlanPage{}, fmt.Errorf("plans: limit %d, want 1 or more", limit)
	}
	sql, args := plansQuery(org, filter, from)
	sql += fmt.Sprintf("\nLIMIT %d", limit+1)
	var items []service.PlanSummary
	err := s.inOrg(ctx, org, pgx.ReadOnly, func(tx *transaction) error {
		rows, err := tx.Query(ctx, sql, args)
		if err != nil {
			return unavailable(ctx, err)
		}
		items, err = pgx.CollectRows(rows, scanSummary)
		return unavailable(ctx, err)
	})
	if err != nil {
		return service.PlanPage{}, fmt.Errorf("plans: %w", err)
	}
	return page(items, from, limit), nil
}

// plansQuery writes only the conditions that narrow, so that each combination is planned for what it is
// and finds its index.
func plansQuery(org service.OrgID, filter service.PlanFilter, from service.Place) (string, pgx.NamedArgs) {
	sql, args := selectPlans, pgx.NamedArgs{"org": org}
	narrow := func(is bool, condition, name string, value any) {
		if is {
			sql += "\nAND " + condition
			args[name] = value
		}
	}
	narrow(filter.VesselName != "", "vessel_name = @vessel_name", "vessel_name", filter.VesselName)
	narrow(filter.VesselID != uuid.Nil, "vessel_id = @vessel_id", "vessel_id", filter.VesselID)
	narrow(filter.Intent != "", "intent = @intent", "intent", filter.Intent)
	narrow(filter.InputSHA256 != "", "input_sha256 = @input_sha256", "input_sha256", filter.InputSHA256)
	narrow(!filter.CreatedFrom.IsZero(), "created_at >= @created_from", "created_from", filter.CreatedFrom)
	narrow(!filter.CreatedBefore.IsZero(), "created_at < @created_before", "created_before", filter.CreatedBefore)

	after, order := "(created_at, id) < (@at, @id)", "created_at DESC, id DESC"
	if from.Backward {
		after, order = "(created_at, id) > (@at, @id)", "created_at ASC, id ASC"
	}
	if !isStart(from) {
		sql += "\nAND " + after
		args["at"], args["id"] = from.CreatedAt, from.ID
	}
	return sql + "\nORDER BY " + order, args
}

func isStart(p service.Place) bool { return p.CreatedAt.IsZero() && p.ID == uuid.Nil }

// page names the places on either side.
func page(items []service.PlanSummary, from service.Place, limit int) service.PlanPage {
	items, newer, older := cut(items, isStart(from), from.Backward, limit)
	p := service.PlanPage{Items: items}
	if newer {
		p.Prev = &service.Place{CreatedAt: items[0].CreatedAt, ID: items[0].ID, Backward: true}
	}
	if older {
		last := items[len(items)-1]
		p.Next = &service.Place{CreatedAt: last.CreatedAt, ID: last.ID}
	}
	return p
}

func scanSummary(row pgx.CollectableRow) (s service.PlanSummary, err error) {
	var vessel, supersedes uuid.NullUUID
	err = row.Scan(&s.ID, &s.CreatedAt, &s.VesselName, &s.Intent, &s.Engine, &s.InputSHA256,
		&s.PeakN.Low, &s.PeakN.Mid, &s.PeakN.High, &s.PayOutM, &vessel, &supersedes)
	s.VesselID, s.Supersedes = vessel.UUID, supersedes.UUID
	return s, err
}
