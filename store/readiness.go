package store

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/planner"
	"rideout/service/readiness"
)

const insertPlanFacts = `
INSERT INTO plan_facts (org_id, plan_id, vessel_id, made_at, intent, engine, wind_speed_kt, hs_m,
    canopy_verdict, rode_verdict, weakest_part, weakest_use, weakest_use_high, weakest_word, outfit)
VALUES (@org, @plan, @vessel, @made_at, @intent, @engine, @wind_kt, @hs_m, @canopy, @rode, @part, @use, @high, @word, @outfit)`

// recordFacts keeps beside a plan for a registered vessel what readiness needs of it.
func (r *recorder) recordFacts(p service.PlanRecord) {
	if p.VesselID == uuid.Nil {
		return
	}
	f := p.Facts
	outfit := f.Outfit
	if outfit == nil {
		outfit = []string{}
	}
	r.tx.queue(insertPlanFacts, pgx.NamedArgs{
		"org": r.org, "plan": p.ID, "vessel": p.VesselID, "made_at": p.CreatedAt, "intent": p.Intent, "engine": p.Engine,
		"wind_kt": f.WindKt, "hs_m": f.HsM, "canopy": f.CanopyVerdict, "rode": f.RodeVerdict,
		"part": f.Part, "use": f.Use, "high": f.UseHigh, "word": f.PartVerdict, "outfit": outfit,
	})
}

// States reads what is recorded of vessels, in a few statements for all of them.
func (r *reader) States(ctx context.Context, vessels []service.Version, at service.AsOf, storm fleet.DesignStorm) ([]readiness.State, error) {
	a := &assembly{states: make([]readiness.State, len(vessels)), vessel: map[uuid.UUID]*readiness.State{}, gear: map[uuid.UUID]*readiness.Gear{}}
	ids := make([]uuid.UUID, len(vessels))
	for i, v := range vessels {
		ids[i], a.vessel[v.ID] = v.ID, &a.states[i]
		a.states[i] = readiness.State{ID: v.ID, Since: v.ValidFrom}
		if err := json.Unmarshal(v.Body, &a.states[i].Vessel); err != nil {
			return nil, fmt.Errorf("read vessel %s: %w", v.ID, err)
		}
	}
	windKt, hsM := readiness.Reaches(storm)
	args := pgx.NamedArgs{
		"org": r.org, "vessels": ids, "valid_at": at.ValidAt, "known_at": at.KnownAt, "none": readiness.NoDrill,
		"storm": planner.RideOutStorm, "wind_kt": windKt, "hs_m": hsM,
	}
	for _, read := range []struct {
		sql  string
		take pgx.RowToFunc[struct{}]
	}{
		{selectFirstSeen, a.firstSeen},
		{selectFitted, a.fitted},
		{selectLastInspections, a.inspection},
		{selectLastDrills, a.drill},
		{selectIncidents, a.incident},
		{selectStormPlans, a.plan},
	} {
		rows, err := r.tx.Query(ctx, read.sql, args)
		if err != nil {
			return nil, unavailable(ctx, err)
		}
		if _, err := pgx.CollectRows(rows, read.take); err != nil {
			return nil, unavailable(ctx, err)
		}
		if len(a.gear) == 0 {
			a.index()
			args["gear"] = a.items
		}
	}
	return a.states, a.wear(ctx, r, at)
}

// wear gives rodes and canopies the deployments they were in.
func (a *assembly) wear(ctx context.Context, r *reader, at service.AsOf) error {
	worn := make([]uuid.UUID, 0, len(a.gear))
	for id, g := range a.gear {
		if wears(g.Item.Kind) {
			worn = append(worn, id)
		}
	}
	lain, err := r.Lyings(ctx, worn, at)
	for id, l := range lain {
		a.gear[id].Lain = l
	}
	return err
}

// assembly puts rows where they belong.
type assembly struct {
	states []readiness.State
	vessel map[uuid.UUID]*readiness.State
	gear   map[uuid.UUID]*readiness.Gear
	items  []uuid.UUID
}

// index makes the gear read so far known by its ids.
func (a *assembly) index() {
	a.items = []uuid.UUID{}
	for i := range a.states {
		for j := range a.states[i].Gear {
			g := &a.states[i].Gear[j]
			a.gear[g.ID], a.items = g, append(a.items, g.ID)
		}
	}
}

const selectFirstSeen = `
SELECT id, min(valid_from)
FROM records
WHERE org_id = @org AND kind = 'vessel' AND id = ANY(@vessels) AND valid_from <= @valid_at AND recorded_at <= @known_at
GROUP BY id`

func (a *assembly) firstSeen(row pgx.CollectableRow) (none struct{}, err error) {
	var id uuid.UUID
	var first time.Time
	err = row.Scan(&id, &first)
	if s := a.vessel[id]; s != nil {
		s.FirstSeen = first
	}
	return none, err
}

// The pieces of gear that ever were the vessels', each with its version in force, and of these the ones that still are.
const selectFitted = `
SELECT r.id, r.vessel_id, r.valid_from, first.seen, r.body
FROM (SELECT DISTINCT id FROM records WHERE org_id = @org AND kind = 'gear' AND vessel_id = ANY(@vessels)) ever
CROSS JOIN LATERAL (
    SELECT id, vessel_id, valid_from, body
    FROM records
    WHERE org_id = @org AND kind = 'gear' AND id = ever.id AND valid_from <= @valid_at AND recorded_at <= @known_at
    ORDER BY valid_from DESC, seq DESC
    LIMIT 1
) r
CROSS JOIN LATERAL (
    SELECT min(valid_from) AS seen
    FROM records
    WHERE org_id = @org AND kind = 'gear' AND id = ever.id AND valid_from <= @valid_at AND recorded_at <= @known_at
) first
WHERE r.vessel_id = ANY(@vessels)
ORDER BY r.id`

func (a *assembly) fitted(row pgx.CollectableRow) (none struct{}, err error) {
	var g readiness.Gear
	var vessel uuid.UUID
	var body []byte
	if err := row.Scan(&g.ID, &vessel, &g.Since, &g.FirstSeen, &body); err != nil {
		return none, err
	}
	g.Item = &fleet.GearItem{}
	if err := json.Unmarshal(body, g.Item); err != nil {
		return none, fmt.Errorf("read gear item %s: %w", g.ID, err)
	}
	a.vessel[vessel].Gear = append(a.vessel[vessel].Gear, g)
	return none, nil
}

// Of each piece of gear the last inspection, and the last that measured chafe, by the time they say.
const selectLastInspections = `
SELECT g.id, l.*
FROM unnest(@gear::uuid[]) AS g (id)
CROSS JOIN LATERAL (
    SELECT
        (array_agg(v.id ORDER BY b.inspected_at DESC, v.id DESC))[1], max(b.inspected_at),
        (array_agg(b.verdict ORDER BY b.inspected_at DESC, v.id DESC))[1],
        (array_agg(v.id ORDER BY b.inspected_at DESC, v.id DESC) FILTER (WHERE b.chafed_share IS NOT NULL))[1],
        max(b.inspected_at) FILTER (WHERE b.chafed_share IS NOT NULL),
        (array_agg(b.chafed_share ORDER BY b.inspected_at DESC, v.id DESC) FILTER (WHERE b.chafed_share IS NOT NULL))[1]
    FROM (
        SELECT DISTINCT ON (id) id, body
        FROM records
        WHERE org_id = @org AND kind = 'inspection' AND under = g.id AND valid_from <= @valid_at AND recorded_at <= @known_at
        ORDER BY id DESC, valid_from DESC, seq DESC
    ) v
    CROSS JOIN LATERAL json_to_record(v.body) AS b (inspected_at timestamptz, verdict text, chafed_share double precision)
    HAVING count(*) > 0
) l`

func (a *assembly) inspection(row pgx.CollectableRow) (none struct{}, err error) {
	var under uuid.UUID
	var last readiness.Inspection
	var chafe uuid.NullUUID
	var chafeAt *time.Time
	var share *float64
	if err := row.Scan(&under, &last.ID, &last.At, &last.Verdict, &chafe, &chafeAt, &share); err != nil {
		return none, err
	}
	g := a.gear[under]
	g.Inspection = &last
	if chafe.Valid {
		g.Chafe = &readiness.Chafe{InspectionID: chafe.UUID, At: *chafeAt, Share: *share}
	}
	return none, nil
}

// Of each vessel the last drill that counts, by the time it says.
const selectLastDrills = `
SELECT DISTINCT ON (under) under, id, at
FROM (
    SELECT DISTINCT ON (under, id) under, id, (body ->> 'held_at')::timestamptz AS at, body ->> 'kind' AS what
    FROM records
    WHERE org_id = @org AND kind = 'drill' AND under = ANY(@vessels) AND valid_from <= @valid_at AND recorded_at <= @known_at
    ORDER BY under, id, valid_from DESC, seq DESC
) v
WHERE what <> ALL(@none)
ORDER BY under, at DESC, id DESC`

func (a *assembly) drill(row pgx.CollectableRow) (none struct{}, err error) {
	var vessel uuid.UUID
	var d readiness.Drill
	err = row.Scan(&vessel, &d.ID, &d.At)
	if s := a.vessel[vessel]; s != nil {
		s.Drill = &d
	}
	return none, err
}

const selectIncidents = `
SELECT r.id, r.vessel_id, r.body
FROM (SELECT DISTINCT id FROM records WHERE org_id = @org AND kind = 'incident' AND vessel_id = ANY(@vessels)) ever
CROSS JOIN LATERAL (
    SELECT id, vessel_id, body
    FROM records
    WHERE org_id = @org AND kind = 'incident' AND id = ever.id AND valid_from <= @valid_at AND recorded_at <= @known_at
    ORDER BY valid_from DESC, seq DESC
    LIMIT 1
) r
WHERE r.vessel_id = ANY(@vessels)
ORDER BY r.id`

func (a *assembly) incident(row pgx.CollectableRow) (none struct{}, err error) {
	var i readiness.Incident
	var vessel uuid.UUID
	var body []byte
	if err := row.Scan(&i.ID, &vessel, &body); err != nil {
		return none, err
	}
	if err := json.Unmarshal(body, &i.Incident); err != nil {
		return none, fmt.Errorf("read incident %s: %w", i.ID, err)
	}
	a.vessel[vessel].Incidents = append(a.vessel[vessel].Incidents, i)
	return none, nil
}

// Of each vessel one plan for a storm: one that stands before one whose place was taken, one that answers for the design
// storm before one that does not, then the newest. Each of the four is looked for only where the ones before were not found.
const (
	selectStormPlans = stormPlanOf + `
    (` + standingPlan + `AND ` + reachesStorm + ` AND NOT EXISTS (` + supersededBy + `)` + newestFirst + `)
    UNION ALL` + newestOfOthers
	// Of vessels known to have none of the first.
	selectOtherPlans = stormPlanOf + newestOfOthers
)

const factColumns = `f.vessel_id, f.plan_id, f.made_at, f.intent, f.engine, f.wind_speed_kt, f.hs_m, f.canopy_verdict, f.rode_verdict,
    f.weakest_part, f.weakest_use, coalesce(f.weakest_use_high, 0), f.weakest_word, array_to_string(f.outfit, E'\n')`

const stormPlanOf = `
SELECT ` + factColumns + `, best.superseded_at
FROM unnest(@vessels::uuid[]) AS v (id)
CROSS JOIN LATERAL (`

const newestOfOthers = `
    (` + standingPlan + `AND NOT ` + reachesStorm + ` AND NOT EXISTS (` + supersededBy + `)` + newestFirst + `)
    UNION ALL
    (` + supersededPlan + `AND ` + reachesStorm + newestFirst + `)
    UNION ALL
    (` + supersededPlan + newestFirst + `)
    LIMIT 1
) best
JOIN plan_facts f ON f.org_id = @org AND f.plan_id = best.plan_id`

const (
	standingPlan = `SELECT f.plan_id, NULL::timestamptz AS superseded_at` + stormPlan
	// When the ones that stand were looked for in vain.
	supersededPlan = `SELECT f.plan_id, (
        SELECT min(created_at)
        FROM plans
        WHERE org_id = @org AND supersedes = f.plan_id AND created_at <= least(@valid_at::timestamptz, @known_at::timestamptz))` + stormPlan
	stormPlan = `
    FROM plan_facts f
    WHERE f.org_id = @org AND f.vessel_id = v.id AND f.intent = @storm
        AND f.made_at <= least(@valid_at::timestamptz, @known_at::timestamptz)
        `
	reachesStorm = `(f.wind_speed_kt >= @wind_kt AND f.hs_m >= @hs_m)`
	supersededBy = `
        SELECT FROM plans
        WHERE org_id = @org AND supersedes = f.plan_id AND created_at <= least(@valid_at::timestamptz, @known_at::timestamptz)`
	newestFirst = `
    ORDER BY f.made_at DESC, f.plan_id DESC
    LIMIT 1`
)

func (a *assembly) plan(row pgx.CollectableRow) (none struct{}, err error) {
	var p readiness.Plan
	var vessel uuid.UUID
	var outfit string
	err = scanStormPlan(row, &vessel, &p, &outfit)
	p.Outfit = linesOf(outfit)
	if s := a.vessel[vessel]; s != nil {
		s.Plan = &p
	}
	return none, err
}

// scanStormPlan reads a row of either; the outfit is text.
func scanStormPlan(row interface{ Scan(...any) error }, vessel *uuid.UUID, p *readiness.Plan, outfit any) error {
	return row.Scan(bytesOf(vessel), bytesOf(&p.ID), &p.MadeAt, &p.Intent, &p.Engine, &p.WindKt, &p.HsM, &p.CanopyVerdict, &p.RodeVerdict,
		&p.Part, &p.Use, &p.UseHigh, &p.PartVerdict, outfit, &p.SupersededAt)
}

// linesOf takes an outfit apart.
func linesOf(outfit string) []string {
	if outfit == "" {
		return []string{}
	}
	return strings.Split(outfit, "\n")
}
