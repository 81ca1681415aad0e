package store

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
	"rideout/service/fleet"
)

const insertPlanWaters = `
INSERT INTO plan_waters (org_id, plan_id, vessel_id, begins_at, ends_at, latitude_deg, longitude_deg)
VALUES (@org, @plan, @vessel, @begins, @ends, @latitude, @longitude)`

// recordWaters keeps beside a plan for a registered vessel where and when it runs.
func (r *recorder) recordWaters(p service.PlanRecord) {
	if p.VesselID == uuid.Nil || p.Position == nil {
		return
	}
	r.tx.queue(insertPlanWaters, pgx.NamedArgs{
		"org": r.org, "plan": p.ID, "vessel": p.VesselID, "begins": p.Begins, "ends": p.Ends,
		"latitude": p.Position.LatitudeDeg, "longitude": p.Position.LongitudeDeg,
	})
}

// Of each vessel the last deployment without a retrieval, with the last fix observed under it; and of the vessels without
// one the newest plan that runs.
const selectAfloat = `
WITH lying AS (
    SELECT DISTINCT ON (d.vessel_id) d.vessel_id, d.under AS plan_id, d.id, d.valid_from,
        (d.body ->> 'rode_out_m')::double precision AS rode_out_m,
        (d.body #>> '{position,latitude_deg}')::double precision AS latitude_deg,
        (d.body #>> '{position,longitude_deg}')::double precision AS longitude_deg
    FROM (SELECT DISTINCT id FROM records WHERE org_id = @org AND kind = 'deployment' AND vessel_id IS NOT NULL) ever
    CROSS JOIN LATERAL (
        SELECT id, vessel_id, under, valid_from, body
        FROM records
        WHERE org_id = @org AND kind = 'deployment' AND id = ever.id AND valid_from <= @valid_at AND recorded_at <= @known_at
        ORDER BY valid_from DESC, seq DESC
        LIMIT 1
    ) d
    WHERE d.vessel_id IS NOT NULL AND NOT EXISTS (
        SELECT
        FROM records
        WHERE org_id = @org AND kind = 'retrieval' AND id = ever.id AND valid_from <= @valid_at AND recorded_at <= @known_at
    )
    ORDER BY d.vessel_id, d.valid_from DESC, d.id DESC
), at_sea AS (
    SELECT l.vessel_id, l.plan_id, l.id AS deployment_id,
        coalesce(seen.latitude_deg, l.latitude_deg, w.latitude_deg) AS latitude_deg,
        coalesce(seen.longitude_deg, l.longitude_deg, w.longitude_deg) AS longitude_deg,
        CASE WHEN seen.time IS NOT NULL THEN seen.time WHEN l.latitude_deg IS NOT NULL THEN l.valid_from ELSE w.begins_at END AS fixed_at,
        CASE WHEN seen.time IS NOT NULL THEN 'observation' WHEN l.latitude_deg IS NOT NULL THEN 'deployment' ELSE 'plan' END AS fixed_by,
        l.rode_out_m
    FROM lying l
    LEFT JOIN plan_waters w ON w.org_id = @org AND w.plan_id = l.plan_id
    LEFT JOIN LATERAL (
        SELECT fix.time, fix.latitude_deg, fix.longitude_deg
        FROM (
            SELECT DISTINCT ON (id) id, body
            FROM records
            WHERE org_id = @org AND kind = 'observation' AND under = l.id AND valid_from <= @valid_at AND recorded_at <= @known_at
            ORDER BY id DESC, valid_from DESC, seq DESC
        ) o
        CROSS JOIN LATERAL json_to_record(o.body -> 'to_fix') AS fix (time timestamptz, latitude_deg double precision, longitude_deg double precision)
        WHERE fix.time IS NOT NULL
        ORDER BY fix.time DESC
        LIMIT 1
    ) seen ON true
    UNION ALL
    SELECT w.vessel_id, w.plan_id, NULL, w.latitude_deg, w.longitude_deg, w.begins_at, 'plan', NULL
    FROM (
        SELECT DISTINCT ON (vessel_id) vessel_id, plan_id, begins_at, latitude_deg, longitude_deg
        FROM plan_waters
        WHERE org_id = @org AND ends_at >= @valid_at
        ORDER BY vessel_id, plan_id DESC
    ) w
    WHERE w.begins_at <= @by AND NOT EXISTS (SELECT FROM lying l WHERE l.vessel_id = w.vessel_id)
)
SELECT s.vessel_id, v.body ->> 'name', s.plan_id, s.deployment_id, s.latitude_deg, s.longitude_deg, s.fixed_at, s.fixed_by, coalesce(s.rode_out_m, 0)
FROM at_sea s
CROSS JOIN LATERAL (
    SELECT body
    FROM records
    WHERE org_id = @org AND kind = 'vessel' AND id = s.vessel_id AND recorded_at <= @known_at
    ORDER BY valid_from <= @valid_at DESC, valid_from DESC, seq DESC
    LIMIT 1
) v
WHERE s.latitude_deg IS NOT NULL AND s.longitude_deg IS NOT NULL
ORDER BY 2, 1`

// Afloat gives the vessels at sea, as service.Reader says.
func (r *reader) Afloat(ctx context.Context, at service.AsOf, by time.Time) ([]service.Afloat, error) {
	rows, err := r.tx.Query(ctx, selectAfloat, pgx.NamedArgs{"org": r.org, "valid_at": at.ValidAt, "known_at": at.KnownAt, "by": by})
	if err != nil {
		return nil, unavailable(ctx, err)
	}
	afloat, err := pgx.CollectRows(rows, scanAfloat)
	return afloat, unavailable(ctx, err)
}

func scanAfloat(row pgx.CollectableRow) (v service.Afloat, err error) {
	var deployment uuid.NullUUID
	err = row.Scan(&v.VesselID, &v.VesselName, &v.PlanID, &deployment, &v.Position.LatitudeDeg, &v.Position.LongitudeDeg, &v.FixedAt, &v.FixedBy, &v.RodeOutM)
	v.DeploymentID = deployment.UUID
	return v, err
}

const (
	insertForecast = `
INSERT INTO area_forecasts (org_id, id, recorded_at, by, area, sent, forecast)
VALUES (@org, @id, @recorded_at, @by, @area, @sent, @forecast)`
	insertReplan = `
INSERT INTO replans (org_id, forecast_id, vessel_id, vessel_name, plan_id, deployment_id, latitude_deg, longitude_deg, fixed_at, fixed_by, rode_out_m)
VALUES (@org, @forecast, @vessel, @name, @plan, @deployment, @latitude, @longitude, @fixed_at, @fixed_by, nullif(@rode_out::double precision, 0))`
)

// RecordForecast records a forecast and whom to plan for, and notes the change.
func (r *recorder) RecordForecast(ctx context.Context, f service.AreaForecast, vessels []service.Afloat) error {
	forecast, err := json.Marshal(f.Forecast)
	if err != nil {
		return fmt.Errorf("record forecast: %w", err)
	}
	if err := r.note(ctx, fleet.KindForecast, f.ID, 1, f.SHA256(), f.By); err != nil {
		return fmt.Errorf("record forecast: %w", err)
	}
	batch := &pgx.Batch{}
	batch.Queue(insertForecast, pgx.NamedArgs{
		"org": r.org, "id": f.ID, "recorded_at": f.RecordedAt, "by": f.By, "area": f.Area, "sent": f.Sent, "forecast": forecast,
	})
	for _, v := range vessels {
		batch.Queue(insertReplan, pgx.NamedArgs{
			"org": r.org, "forecast": f.ID, "vessel": v.VesselID, "name": v.VesselName, "plan": v.PlanID, "deployment": orNull(v.DeploymentID),
			"latitude": v.Position.LatitudeDeg, "longitude": v.Position.LongitudeDeg, "fixed_at": v.FixedAt, "fixed_by": v.FixedBy,
			"rode_out": v.RodeOutM,
		})
	}
	if err := r.tx.SendBatch(ctx, batch).Close(); err != nil {
		return fmt.Errorf("record forecast: %w", unavailable(ctx, err))
	}
	return nil
}

const updateReplan = `
UPDATE replans
SET done_at = @done_at, new_plan_id = @plan, refused = nullif(@refused, ''), outlook = @outlook
WHERE org_id = @org AND forecast_id = @forecast AND vessel_id = @vessel AND done_at IS NULL`

// Replanned records what became of a vessel, once.
func (r *recorder) Replanned(ctx context.Context, forecast uuid.UUID, p service.Replan) error {
	made, err := r.tx.Exec(ctx, updateReplan, pgx.NamedArgs{
		"org": r.org, "forecast": forecast, "vessel": p.VesselID, "done_at": p.DoneAt, "plan": orNull(p.NewPlanID), "refused": p.Refused, "outlook": p.Outlook,
	})
	if err == nil && made.RowsAffected() == 0 {
		err = service.ErrNotFound
	}
	if err != nil {
		return fmt.Errorf("replanned: %w", unavailable(ctx, err))
	}
	return nil
}

const (
	forecastColumns = `id, recorded_at, by, area, sent, forecast`
	selectForecast  = `
SELECT ` + forecastColumns + `
FROM area_forecasts
WHERE org_id = $1 AND id = $2`
	selectReplans = `
SELECT vessel_id, vessel_name, plan_id, deployment_id, latitude_deg, longitude_deg, fixed_at, fixed_by, coalesce(rode_out_m, 0),
    coalesce(done_at, 'epoch'), new_plan_id, coalesce(refused, ''), outlook
FROM replans
WHERE org_id = $1 AND forecast_id = $2
ORDER BY vessel_name, vessel_id`
)

// AreaForecast returns service.ErrNotFound for an id that is unknown or another organisation's.
func (s *Store) AreaForecast(ctx context.Context, org service.OrgID, id uuid.UUID) (f service.AreaForecast, replans []service.Replan, err error) {
	err = s.inOrg(ctx, org, pgx.ReadOnly, func(tx *transaction) error {
		rows, err := tx.Query(ctx, selectForecast, org, id)
		if err != nil {
			return unavailable(ctx, err)
		}
		if f, err = pgx.CollectExactlyOneRow(rows, scanForecast); err != nil {
			return found(ctx, err)
		}
		if rows, err = tx.Query(ctx, selectReplans, org, id); err != nil {
			return unavailable(ctx, err)
		}
		replans, err = pgx.CollectRows(rows, scanReplan)
		return unavailable(ctx, err)
	})
	if err != nil {
		return service.AreaForecast{}, nil, fmt.Errorf("area forecast %s: %w", id, err)
	}
	return f, replans, nil
}

func scanForecast(row pgx.CollectableRow) (f service.AreaForecast, err error) {
	var forecast []byte
	if err := row.Scan(&f.ID, &f.RecordedAt, &f.By, &f.Area, &f.Sent, &forecast); err != nil {
		return f, err
	}
	return f, json.Unmarshal(forecast, &f.Forecast)
}

func scanReplan(row pgx.CollectableRow) (p service.Replan, err error) {
	var deployment, plan uuid.NullUUID
	err = row.Scan(&p.VesselID, &p.VesselName, &p.PlanID, &deployment, &p.Position.LatitudeDeg, &p.Position.LongitudeDeg, &p.FixedAt, &p.FixedBy, &p.RodeOutM,
		&p.DoneAt, &plan, &p.Refused, &p.Outlook)
	p.DeploymentID, p.NewPlanID = deployment.UUID, plan.UUID
	if p.DoneAt.Unix() == 0 {
		p.DoneAt = time.Time{}
	}
	return p, err
}

// selectForecasts is completed by a condition and an order.
const selectForecasts = `
SELECT ` + forecastColumns + `, vessels, done, refused
FROM area_forecasts f
CROSS JOIN LATERAL (
    SELECT count(*) AS vessels, count(new_plan_id) AS done, count(r.refused) AS refused
    FROM replans r
    WHERE r.org_id = f.org_id AND r.forecast_id = f.id
) c
WHERE org_id = @org`

// AreaForecasts returns a page, newest first.
func (s *Store) AreaForecasts(ctx context.Context, org service.OrgID, from service.RecordPlace, limit int) (page service.ForecastPage, err error) {
	err = s.inOrg(ctx, org, pgx.ReadOnly, func(tx *transaction) error {
		page.Items, page.Next, page.Prev, err = pageByID(ctx, tx, selectForecasts, pgx.NamedArgs{"org": org}, from, limit,
			scanForecastHead, func(h service.ForecastHead) uuid.UUID { return h.ID })
		return err
	})
	if err != nil {
		return service.ForecastPage{}, fmt.Errorf("area forecasts: %w", err)
	}
	return page, nil
}

func scanForecastHead(row pgx.CollectableRow) (h service.ForecastHead, err error) {
	var forecast []byte
	p := &h.Progress
	err = row.Scan(&h.ID, &h.RecordedAt, &h.By, &h.Area, &h.Sent, &forecast, &p.Vessels, &p.Done, &p.Refused)
	if err != nil {
		return h, err
	}
	p.Waiting = p.Vessels - p.Done - p.Refused
	p.Ended = p.Waiting == 0
	return h, json.Unmarshal(forecast, &h.Forecast)
}
