-- What readiness asks of a version of the book, beside its body, and indexes that hold it: a whole fleet is judged from
-- the indexes alone. The columns are written from the body by the database, for the versions there are as well.

-- The service writes every time in UTC, with a Z, so what comes of the text depends on no setting.
CREATE FUNCTION utc_time(text) RETURNS timestamptz
    LANGUAGE sql IMMUTABLE STRICT PARALLEL SAFE AS
$$ SELECT $1::timestamptz $$;

ALTER TABLE records
    -- When it happened; of a retrieval, when it ended.
    ADD COLUMN happened_at timestamptz GENERATED ALWAYS AS (CASE kind
        WHEN 'inspection' THEN utc_time(body ->> 'inspected_at')
        WHEN 'drill' THEN utc_time(body ->> 'held_at')
        WHEN 'incident' THEN utc_time(body ->> 'occurred_at')
        WHEN 'deployment' THEN utc_time(body ->> 'deployed_at')
        WHEN 'retrieval' THEN utc_time(body ->> 'ended_at') END) STORED,
    -- Members of the body, between bars. The last one of a vessel and of gear may hold bars itself. What is too long for
    -- an index is a question mark, and is read in the body: figures, and the gear a deployment names.
    ADD COLUMN gist text GENERATED ALWAYS AS (CASE kind
        WHEN 'vessel' THEN coalesce(body ->> 'status', '') || '|' || coalesce(body ->> 'design_category', '') || '|' || coalesce(body ->> 'name', '')
        WHEN 'gear' THEN coalesce(body ->> 'kind', '') || '|' || coalesce(body ->> 'spare', '') || '|' || coalesce(body ->> 'retired_at', '')
            || '|' || coalesce(body ->> 'first_used_on', '') || '|' || coalesce(body ->> 'made_on', '')
            || '|' || coalesce(body ->> 'storm_hours', '') || '|' || coalesce(body ->> 'fatigue_share', '')
            || '|' || CASE
                WHEN octet_length((body -> (body ->> 'kind'))::text) > 1000 THEN '?'
                ELSE coalesce((body -> (body ->> 'kind'))::text, '') END
        WHEN 'inspection' THEN coalesce(body ->> 'verdict', '') || '|' || coalesce(body ->> 'chafed_share', '')
        WHEN 'drill' THEN coalesce(body ->> 'kind', '')
        WHEN 'incident' THEN coalesce(body ->> 'severity', '') || '|' || coalesce(body ->> 'grounds_vessel', '') || '|' || coalesce(body ->> 'closed_at', '')
        WHEN 'deployment' THEN coalesce(body ->> 'plan_id', '') || '|' || CASE
                WHEN octet_length((body -> 'gear_ids')::text) > 1000 THEN '?'
                ELSE coalesce((body -> 'gear_ids')::text, '') END END) STORED;

DROP INDEX records_as_of;
DROP INDEX records_by_under;
DROP INDEX plan_facts_by_vessel;

-- Finds what a thing was at a time: the first row from valid_from on down, passing over what was not known yet. With
-- what it holds beside, all things of a kind are told in one walk.
CREATE INDEX records_as_of ON records (org_id, kind, id, valid_from DESC, seq DESC) INCLUDE (recorded_at, vessel_id, happened_at, gist);

-- The things that belong to another, newest first, each as it was at a time.
CREATE INDEX records_by_under ON records (org_id, kind, under, id DESC, valid_from DESC, seq DESC) INCLUDE (recorded_at, happened_at, gist)
    WHERE under IS NOT NULL;

-- The plans of a vessel for an intent, newest first, and the weather they reach: passing over those that reach too
-- little reads no plan.
CREATE INDEX plan_facts_by_vessel ON plan_facts (org_id, vessel_id, intent, made_at DESC, plan_id DESC) INCLUDE (wind_speed_kt, hs_m);
