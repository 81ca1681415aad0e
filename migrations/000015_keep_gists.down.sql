DROP INDEX plan_facts_by_vessel;
DROP INDEX records_by_under;
DROP INDEX records_as_of;

-- The plans of a vessel for an intent, newest first.
CREATE INDEX plan_facts_by_vessel ON plan_facts (org_id, vessel_id, intent, made_at DESC, plan_id DESC);

-- The things that belong to another, newest first.
CREATE INDEX records_by_under ON records (org_id, kind, under, id DESC) WHERE under IS NOT NULL;

-- Finds what a thing was at a time: the first row from valid_from on down, passing over what was not known yet.
CREATE INDEX records_as_of ON records (org_id, kind, id, valid_from DESC, seq DESC);

ALTER TABLE records
    DROP COLUMN gist,
    DROP COLUMN happened_at;
DROP FUNCTION utc_time(text);
