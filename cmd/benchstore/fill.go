package main

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
)

// The fleets: one organisation of largeFleet vessels, the rest in organisations of smallFleet.
const (
	vessels    = 10_000
	largeFleet = 2_000
	smallFleet = 100
	days       = 730
)

// begin is when the fleets are registered; their history covers days from then on.
var begin, _ = time.Parse(time.RFC3339, beginText)

const beginText = "2024-01-01T00:00:00Z"

// end is after everything recorded.
var end = begin.AddDate(0, 0, days)

// chunk is how many plans one statement writes.
const chunk = 1_000_000

// fill multiplies the pattern into fleets with two years of history, in statements over whole sets. Foreign keys are not
// checked and nobody is notified meanwhile; everything else, indexes included, is written row by row in the order of time,
// as it would have come.
func fill(ctx context.Context, conn *pgx.Conn, plans int, progress func(string, ...any)) error {
	run := func(what, sql string) error {
		began := time.Now()
		tag, err := conn.Exec(ctx, sql)
		if err != nil {
			return fmt.Errorf("fill: %s: %w", what, err)
		}
		progress("%-22s %10d rows %6.0f s", what, tag.RowsAffected(), time.Since(began).Seconds())
		return nil
	}
	constants := fmt.Sprintf(setUp, beginText, vessels, largeFleet, smallFleet, patternName)
	if _, err := conn.Exec(ctx, constants); err != nil {
		return fmt.Errorf("fill: set up: %w", err)
	}
	for _, step := range []struct{ what, sql string }{
		{"organisations", makeOrganisations},
		{"vessels", makeVessels},
		{"changes to vessels", changeVessels},
		{"gear", makeGear},
		{"use of gear", useGear},
		{"gear retired", retireGear},
		{"statistics", `ANALYZE bulk_records`},
		{"inspections", makeInspections},
		{"inspections corrected", correctInspections},
		{"drills", makeDrills},
		{"incidents", makeIncidents},
		{"incidents closed", closeIncidents},
		{"deployments", fmt.Sprintf(makeDeployments, plans)},
		{"retrievals", makeRetrievals},
		{"order of changes", fmt.Sprintf(orderChanges, plans)},
	} {
		if err := run(step.what, step.sql); err != nil {
			return err
		}
	}
	if err := run("changes", insertChanges); err != nil {
		return err
	}
	for _, step := range []struct{ what, sql string }{
		{"records", insertRecords}, {"gear deployed", insertDeployedGear}, {"what plans foresaw", insertForeseen},
	} {
		if err := run(step.what, step.sql); err != nil {
			return err
		}
	}
	for from := 0; from < plans; from += chunk {
		to := min(from+chunk, plans)
		if err := run("plans", fmt.Sprintf(insertPlans, plans, from, to)); err != nil {
			return err
		}
		if err := run("facts of plans", fmt.Sprintf(insertPlanFacts, plans, from, to)); err != nil {
			return err
		}
	}
	for _, step := range []struct{ what, sql string }{
		{"log", advanceLog},
		{"tidy", dropStage},
		{"checkpoint", `CHECKPOINT`}, // vacuum takes for seen what is known to be on disk
		{"vacuum", `VACUUM (ANALYZE)`},
	} {
		if err := run(step.what, step.sql); err != nil {
			return err
		}
	}
	return nil
}

// setUp makes the session's functions. ids sort by time, as the service's do.
const setUp = `
SET session_replication_role = replica;
SET synchronous_commit = off;
SET work_mem = '512MB';
SET synchronize_seqscans = off;
SET maintenance_work_mem = '512MB';
CREATE FUNCTION pg_temp.began() RETURNS timestamptz LANGUAGE sql IMMUTABLE AS $$ SELECT timestamptz '%[1]s' $$;
CREATE FUNCTION pg_temp.after(days double precision) RETURNS timestamptz LANGUAGE sql IMMUTABLE AS
    $$ SELECT pg_temp.began() + make_interval(secs => floor(days * 86400e6) / 1e6) $$;
CREATE FUNCTION pg_temp.share_of(seed bigint) RETURNS double precision LANGUAGE sql IMMUTABLE AS
    $$ SELECT (hashint8(seed)::bigint + 2147483648) / 4294967296.0 $$;
CREATE FUNCTION pg_temp.named(at timestamptz, seed text) RETURNS uuid LANGUAGE sql IMMUTABLE AS $$
    SELECT (lpad(to_hex((extract(epoch FROM at) * 1000)::bigint), 12, '0') || '7' || substr(md5(seed), 1, 3) || '8' || substr(md5(seed), 4, 15))::uuid $$;
CREATE FUNCTION pg_temp.written(at timestamptz) RETURNS text LANGUAGE sql IMMUTABLE AS
    $$ SELECT to_char(at AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"') $$;
CREATE FUNCTION pg_temp.told(body text, version int, valid_from timestamptz, recorded_at timestamptz) RETURNS text LANGUAGE sql IMMUTABLE AS $$
    SELECT regexp_replace(body, '"version":\d+,"valid_from":"[^"]*","recorded_at":"[^"]*"',
        '"version":' || version || ',"valid_from":"' || pg_temp.written(valid_from) || '","recorded_at":"' || pg_temp.written(recorded_at) || '"') $$;
CREATE UNLOGGED TABLE bulk_organisations AS
SELECT o AS number, pg_temp.named(pg_temp.began(), 'organisation' || o) AS org
FROM generate_series(0, (%[2]d - %[3]d) / %[4]d) AS o;

CREATE UNLOGGED TABLE bulk_patterns AS
SELECT row_number() OVER (ORDER BY r.seq) - 1 AS number, r.id, r.body::text AS body, r.body ->> 'name' AS name, r.org_id,
    (SELECT g.body -> 'rode' ->> 'length_m' FROM records g WHERE g.org_id = r.org_id AND g.kind = 'gear' AND g.vessel_id = r.id AND g.body ->> 'kind' = 'rode') AS rode_m
FROM records r
JOIN organisations o ON o.id = r.org_id AND o.name = '%[5]s'
WHERE r.kind = 'vessel';

-- Which vessel has which organisation, pattern and rode.
CREATE UNLOGGED TABLE bulk_vessels AS
SELECT v, o.org, pg_temp.named(pg_temp.after(v / 1e4), 'vessel' || v) AS id, p.id AS pattern_id, p.org_id AS pattern_org, p.body AS pattern_body,
    p.name || ' ' || v AS name, p.name AS pattern_name, p.rode_m AS pattern_rode_m, own_m AS rode_m,
    replace(f.outfit::text, ' ' || p.rode_m || ' m', ' ' || own_m || ' m')::text[] AS outfit
FROM generate_series(0, %[2]d - 1) AS v
JOIN bulk_organisations o ON o.number = CASE WHEN v < %[3]d THEN 0 ELSE 1 + (v - %[3]d) / %[4]d END
JOIN bulk_patterns p ON p.number = v %% 5
JOIN plan_facts f ON f.org_id = p.org_id AND f.vessel_id = p.id,
    LATERAL (SELECT (p.rode_m::numeric + v / 5 %% 40)::text AS own_m) r;

CREATE UNLOGGED TABLE bulk_plans AS
SELECT f.*, p.peak_low_n, p.peak_mid_n, p.peak_high_n, p.pay_out_m
FROM bulk_patterns o
JOIN plan_facts f ON f.org_id = o.org_id AND f.vessel_id = o.id
JOIN plans p ON p.org_id = f.org_id AND p.id = f.plan_id;

-- The pattern's inspections by the kind of gear they are of.
CREATE UNLOGGED TABLE bulk_inspections AS
SELECT p.number, g.body ->> 'kind' AS kind, i.id, i.under, i.body::text AS body, i.body ->> 'inspected_at' AS inspected_at
FROM bulk_patterns p
JOIN records g ON g.org_id = p.org_id AND g.kind = 'gear' AND g.vessel_id = p.id
JOIN records i ON i.org_id = p.org_id AND i.kind = 'inspection' AND i.under = g.id;

CREATE UNLOGGED TABLE bulk_deployments AS
SELECT d.vessel_id, d.id, d.under, d.body::text AS body, d.body ->> 'deployed_at' AS deployed_at, r.body::text AS retrieval,
    r.body ->> 'begun_at' AS begun_at, r.body ->> 'ended_at' AS ended_at, f.wear, f.outcomes,
    d.body -> 'gear_ids' ->> 0 AS canopy_id, d.body -> 'gear_ids' ->> 1 AS rode_id
FROM bulk_patterns p
JOIN records d ON d.org_id = p.org_id AND d.kind = 'deployment' AND d.vessel_id = p.id
JOIN records r ON r.org_id = p.org_id AND r.kind = 'retrieval' AND r.id = d.id
JOIN foreseen f ON f.org_id = p.org_id AND f.plan_id = d.under;

-- Versions of the book, to be put in order.
CREATE UNLOGGED TABLE bulk_records (
    id_seq bigint GENERATED ALWAYS AS IDENTITY, v int, org uuid, kind text, id uuid, version int, valid_from timestamptz, recorded_at timestamptz,
    vessel_id uuid, under uuid, body text
);
ANALYZE`

const (
	makeOrganisations = `
INSERT INTO organisations (id, name, created_at)
SELECT org, 'fleet ' || number, pg_temp.began()
FROM bulk_organisations`

	makeVessels = `
INSERT INTO bulk_records (v, org, kind, id, version, valid_from, recorded_at, body)
SELECT v, org, 'vessel', id, 1, at, at,
    pg_temp.told(replace(replace(pattern_body, pattern_id::text, id::text), '"name":"' || pattern_name, '"name":"' || name), 1, at, at)
FROM bulk_vessels, pg_temp.after(v / 1e4) AS at`

	// One in three is laid up for a month.
	changeVessels = `
INSERT INTO bulk_records (v, org, kind, id, version, valid_from, recorded_at, body)
SELECT v, org, 'vessel', id, n, at, at,
    pg_temp.told(CASE n WHEN 2 THEN replace(body, '"status":"in_service"', '"status":"laid_up"') ELSE body END, n, at, at)
FROM bulk_records, generate_series(2, 3) AS n, pg_temp.after(200 + v % 400 + (n - 2) * 30) AS at
WHERE kind = 'vessel' AND v % 3 = 0`

	makeGear = `
INSERT INTO bulk_records (v, org, kind, id, version, valid_from, recorded_at, vessel_id, body)
SELECT v.v, v.org, 'gear', fresh, 1, at, at, v.id,
    pg_temp.told(replace(replace(replace(g.body::text, g.id::text, fresh::text), v.pattern_id::text, v.id::text),
        '"rode":{"construction":"three_strand","diameter_mm":22,"length_m":' || v.pattern_rode_m, '"rode":{"construction":"three_strand","diameter_mm":22,"length_m":' || v.rode_m), 1, at, at)
FROM bulk_vessels v
JOIN records g ON g.org_id = v.pattern_org AND g.kind = 'gear' AND g.vessel_id = v.pattern_id,
    pg_temp.after(1 + v.v / 1e4) AS at, pg_temp.named(at, g.id::text || v.v) AS fresh`

	// Each year the hours of storm of rode and canopy are written down.
	useGear = `
INSERT INTO bulk_records (v, org, kind, id, version, valid_from, recorded_at, vessel_id, body)
SELECT v, org, kind, id, n, at, at, vessel_id,
    pg_temp.told(replace(body, '"links":', '"storm_hours":' || (n - 1) * (20 + v % 90) || ',"links":'), n, at, at)
FROM bulk_records, generate_series(2, 3) AS n, pg_temp.after(330 * (n - 1) + v % 30) AS at
WHERE kind = 'gear' AND version = 1 AND body ~ '"kind":"(rode|canopy)"'`

	// One rode in ten is retired, and another takes its place a week later.
	retireGear = `
WITH worn AS (
    SELECT *
    FROM bulk_records
    WHERE kind = 'gear' AND version = 1 AND body LIKE '%"kind":"rode"%' AND v % 10 = 7
), retired AS (
    INSERT INTO bulk_records (v, org, kind, id, version, valid_from, recorded_at, vessel_id, body)
    SELECT v, org, kind, id, 4, at, at, vessel_id,
        pg_temp.told(replace(body, '"links":', '"retired_at":"' || pg_temp.written(at) || '","retired_why":"worn","links":'), 4, at, at)
    FROM worn, pg_temp.after(400 + v % 290) AS at
)
INSERT INTO bulk_records (v, org, kind, id, version, valid_from, recorded_at, vessel_id, body)
SELECT v, org, kind, fresh, 1, at, at, vessel_id, pg_temp.told(replace(body, id::text, fresh::text), 1, at, at)
FROM worn, pg_temp.after(407 + v % 290) AS at, pg_temp.named(at, 'another' || id) AS fresh`

	// Four of each piece, about half a year apart. Nineteen in twenty find it fit.
	makeInspections = `
INSERT INTO bulk_records (v, org, kind, id, version, valid_from, recorded_at, under, body)
SELECT g.v, g.org, 'inspection', fresh, 1, happened, at, g.id,
    pg_temp.told(replace(replace(replace(replace(replace(i.body, i.id::text, fresh::text), i.under::text, g.id::text),
        i.inspected_at, pg_temp.written(happened)),
        '"verdict":"fit"', '"verdict":"' || CASE WHEN found < 0.95 THEN 'fit' WHEN found < 0.99 THEN 'watch' ELSE 'repair' END || '"'),
        '"chafed_share":0.01', '"chafed_share":' || round((0.02 * n + 0.03 * found)::numeric, 3)), 1, happened, at)
FROM bulk_records g
JOIN bulk_inspections i ON i.number = g.v % 5 AND i.kind = substring(g.body FROM '"kind":"([a-z_]+)"'),
    generate_series(0, 3) AS n, pg_temp.share_of(g.id_seq * 4 + n) AS found,
    greatest(pg_temp.after(20 + n * 175 + g.v % 60), g.recorded_at + interval '3 h') AS happened, pg_temp.after(extract(epoch FROM happened - pg_temp.began()) / 86400 + 0.3) AS at,
    pg_temp.named(at, g.id::text || n) AS fresh
WHERE g.kind = 'gear' AND g.version = 1`

	// One in twenty is corrected two days later, and holds from when it did.
	correctInspections = `
INSERT INTO bulk_records (v, org, kind, id, version, valid_from, recorded_at, under, body)
SELECT v, org, kind, id, 2, valid_from, at, under, pg_temp.told(replace(body, '"verdict":"fit"', '"verdict":"watch"'), 2, valid_from, at)
FROM bulk_records, pg_temp.after(extract(epoch FROM recorded_at - pg_temp.began()) / 86400 + 2) AS at
WHERE kind = 'inspection' AND id_seq % 20 = 0`

	makeDrills = `
INSERT INTO bulk_records (v, org, kind, id, version, valid_from, recorded_at, vessel_id, under, body)
SELECT v.v, v.org, 'drill', fresh, 1, happened, at, v.id, v.id,
    pg_temp.told(replace(replace(replace(replace(d.body::text, d.id::text, fresh::text), v.pattern_id::text, v.id::text),
        d.body ->> 'held_at', pg_temp.written(happened)), '"kind":"full"', CASE (v.v + n) % 7 WHEN 0 THEN '"kind":"briefing"' ELSE '"kind":"full"' END), 1, happened, at)
FROM bulk_vessels v
JOIN records d ON d.org_id = v.pattern_org AND d.kind = 'drill' AND d.under = v.pattern_id,
    generate_series(0, 3) AS n, pg_temp.after(25 + n * 180 + v.v % 70) AS happened,
    pg_temp.after(25.5 + n * 180 + v.v % 70) AS at, pg_temp.named(at, 'drill' || v.v || ' ' || n) AS fresh`

	makeIncidents = `
INSERT INTO bulk_records (v, org, kind, id, version, valid_from, recorded_at, vessel_id, body)
SELECT v.v, v.org, 'incident', fresh, 1, happened, at, v.id,
    pg_temp.told(replace(replace(replace(replace(i.body::text, i.id::text, fresh::text), v.pattern_id::text, v.id::text),
        i.body ->> 'occurred_at', pg_temp.written(happened)), '"severity":"minor"', CASE WHEN v.v % 12 = 0 THEN '"severity":"serious"' ELSE '"severity":"minor"' END), 1, happened, at)
FROM bulk_vessels v
JOIN records i ON i.org_id = v.pattern_org AND i.kind = 'incident' AND i.vessel_id = v.pattern_id,
    pg_temp.after(60 + v.v * 7 % 600) AS happened, pg_temp.after(61 + v.v * 7 % 600) AS at, pg_temp.named(at, 'incident' || v.v) AS fresh
WHERE v.v % 4 = 0`

	closeIncidents = `
INSERT INTO bulk_records (v, org, kind, id, version, valid_from, recorded_at, vessel_id, body)
SELECT v, org, kind, id, 2, valid_from, at, vessel_id,
    pg_temp.told(replace(body, '"links":', '"closed_at":"' || pg_temp.written(at) || '","closed_how":"Talked over and trained.","links":'), 2, valid_from, at)
FROM bulk_records, pg_temp.after(extract(epoch FROM recorded_at - pg_temp.began()) / 86400 + 25) AS at
WHERE kind = 'incident' AND v % 40 <> 0`

	// One vessel in two lies to her gear twice, an hour after a plan for her; of her plans n, n * 7919 % 10000 is she.
	makeDeployments = `
INSERT INTO bulk_records (v, org, kind, id, version, valid_from, recorded_at, vessel_id, under, body)
SELECT v.v, v.org, 'deployment', fresh, 1, happened, told, v.id, plan,
    pg_temp.told(replace(replace(replace(replace(replace(replace(d.body, d.id::text, fresh::text), v.pattern_id::text, v.id::text), d.under::text, plan::text),
        d.deployed_at, pg_temp.written(happened)), d.rode_id::text, rode.id::text), d.canopy_id::text, canopy.id::text), 1, happened, told)
FROM bulk_vessels v
JOIN bulk_deployments d ON d.vessel_id = v.pattern_id
JOIN bulk_records rode ON rode.v = v.v AND rode.kind = 'gear' AND rode.version = 1 AND rode.body ~ '"kind":"rode"' AND rode.recorded_at < '2024-02-01'
JOIN bulk_records canopy ON canopy.v = v.v AND canopy.kind = 'gear' AND canopy.version = 1 AND canopy.body ~ '"kind":"canopy"',
    generate_series(1, 3, 2) AS quarter,
    LATERAL (SELECT v.v * 7679 %% 10000 + 10000 * (%[1]d::bigint / 10000 * quarter / 4) AS n) p,
    LATERAL (SELECT ` + planAt + ` AS at) t,
    LATERAL (SELECT ` + planID + ` AS plan, at + interval '1 h' AS happened, at + interval '20 h' AS told) h,
    LATERAL (SELECT pg_temp.named(told, 'deployment' || v.v || ' ' || quarter) AS fresh) i
WHERE v.v %% 2 = 0`

	makeRetrievals = `
INSERT INTO bulk_records (v, org, kind, id, version, valid_from, recorded_at, under, body)
SELECT v.v, d.org, 'retrieval', d.id, 1, happened, told, d.id,
    pg_temp.told(replace(replace(replace(p.retrieval, p.id::text, d.id::text), p.begun_at, pg_temp.written(happened - interval '20 min')), p.ended_at, pg_temp.written(happened)), 1, happened, told)
FROM bulk_records d
JOIN bulk_vessels v ON v.v = d.v
JOIN bulk_deployments p ON p.vessel_id = v.pattern_id,
    LATERAL (SELECT d.valid_from + interval '15 h' AS happened, d.recorded_at + interval '1 h' AS told) h
WHERE d.kind = 'deployment'`

	insertDeployedGear = `
INSERT INTO deployed_gear (org_id, gear_id, deployment_id)
SELECT org, gear::uuid, id
FROM bulk_records, json_array_elements_text(body::json -> 'gear_ids') AS gear
WHERE kind = 'deployment'`

	insertForeseen = `
INSERT INTO foreseen (org_id, plan_id, wear, outcomes)
SELECT d.org, d.under, p.wear, p.outcomes
FROM bulk_records d
JOIN bulk_vessels v ON v.v = d.v
JOIN bulk_deployments p ON p.vessel_id = v.pattern_id
WHERE d.kind = 'deployment'`

	// Plans come at even times, each vessel's turn after all others'. Everything recorded gets its number by time.
	orderChanges = `
CREATE UNLOGGED TABLE bulk_changes AS
SELECT org, at, row_number() OVER (PARTITION BY org ORDER BY at, kind, id, version) AS seq, kind, id, version, body_sha256, record
FROM (
    SELECT org, recorded_at AS at, kind, id, version, encode(sha256(convert_to(body, 'UTF8')), 'hex') AS body_sha256, id_seq AS record
    FROM bulk_records
    UNION ALL
    SELECT v.org, at, 'plan', ` + planID + `, 1, encode(sha256('{}'), 'hex'), NULL
    FROM generate_series(0, %[1]d::bigint - 1) AS n
    JOIN bulk_vessels v ON v.v = n * 7919 %% 10000,
        LATERAL (SELECT ` + planAt + ` AS at) t
) told
ORDER BY at`

	// What is read lies in the order of time.
	insertChanges = `
INSERT INTO changes (org_id, seq, recorded_at, kind, entity_id, version, body_sha256, by)
SELECT org, seq, at, kind, id, version, body_sha256, 'bench'
FROM bulk_changes`

	insertRecords = `
INSERT INTO records (org_id, kind, id, version, seq, valid_from, recorded_at, vessel_id, under, by, body, body_sha256)
SELECT r.org, r.kind, r.id, r.version, c.seq, r.valid_from, r.recorded_at, r.vessel_id, r.under, 'bench', r.body::json, c.body_sha256
FROM bulk_changes c
JOIN bulk_records r ON r.id_seq = c.record
ORDER BY c.at`

	// The time and the id of plan n of so many; the id sorts by the time. They are written out, because a function would
	// be called for each row.
	planAt = `timestamptz '` + beginText + `' + make_interval(secs => floor((35 + 695.0 * n / %[1]d) * 86400e6) / 1e6)`
	planID = `left(overlay(overlay(lpad(to_hex(floor(extract(epoch FROM at) * 1000)::bigint), 12, '0') || md5('plan' || n)
        PLACING '7' FROM 13) PLACING '8' FROM 17), 32)::uuid`

	// Half of the plans are for a storm, one in five takes the place of the vessel's plan before. Their documents are empty.
	insertPlans = `
INSERT INTO plans (org_id, id, created_at, vessel_name, intent, engine, input_sha256, peak_low_n, peak_mid_n, peak_high_n, pay_out_m,
    vessel_id, supersedes, inputs, answer, working)
SELECT v.org, ` + planID + `, at, v.name, ` + intentOf + `, p.engine, encode(sha256(('input ' || n / 3)::bytea), 'hex'),
    p.peak_low_n, p.peak_mid_n, p.peak_high_n, p.pay_out_m, v.id, s.id, '{}', '{}', '[]'
FROM generate_series(%[2]d::bigint, %[3]d - 1) AS n
JOIN bulk_vessels v ON v.v = n * 7919 %% 10000
JOIN bulk_plans p ON p.vessel_id = v.pattern_id,
    LATERAL (SELECT ` + planAt + ` AS at, pg_temp.share_of(n) AS share) t
LEFT JOIN LATERAL (
    SELECT ` + planID + ` AS id
    FROM (SELECT o.n, ` + planAt + ` AS at FROM (SELECT n - 10000 AS n) o) t
    WHERE t.n >= 0 AND pg_temp.share_of(3 * t.n + 1) < 0.2
) s ON true
ORDER BY n`

	intentOf = `CASE WHEN share < 0.5 THEN 'ride_out_storm' WHEN share < 0.8 THEN 'slow_drift' WHEN share < 0.999 THEN 'drill' ELSE 'repair_or_rest' END`

	// One storm plan in six reaches the design storm; of one vessel in ten none ever does.
	insertPlanFacts = `
INSERT INTO plan_facts (org_id, plan_id, vessel_id, made_at, intent, engine, wind_speed_kt, hs_m,
    canopy_verdict, rode_verdict, weakest_part, weakest_use, weakest_word, outfit)
SELECT v.org, ` + planID + `, v.id, at, ` + intentOf + `, p.engine,
    CASE WHEN reaches THEN 55 ELSE 30 + floor(15 * share) END, CASE WHEN reaches THEN 8.5 ELSE 5 END,
    p.canopy_verdict, p.rode_verdict, p.weakest_part, p.weakest_use, p.weakest_word, v.outfit
FROM generate_series(%[2]d::bigint, %[3]d - 1) AS n
JOIN bulk_vessels v ON v.v = n * 7919 %% 10000
JOIN bulk_plans p ON p.vessel_id = v.pattern_id,
    LATERAL (SELECT ` + planAt + ` AS at, pg_temp.share_of(n) AS share, v.v %% 10 <> 3 AND pg_temp.share_of(-n) < 1 / 6.0 AS reaches) t
ORDER BY n`

	advanceLog = `
INSERT INTO organisation_log (org_id, seq, known_until)
SELECT org, max(seq), max(at)
FROM bulk_changes
GROUP BY org`

	dropStage = `
DROP TABLE bulk_changes, bulk_records, bulk_deployments, bulk_plans, bulk_inspections, bulk_vessels, bulk_patterns, bulk_organisations;
SET session_replication_role = origin`
)
