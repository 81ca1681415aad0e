DROP INDEX plan_facts_by_vessel;
CREATE INDEX plan_facts_by_vessel ON plan_facts (org_id, vessel_id, intent, made_at DESC, plan_id DESC);
DROP INDEX records_by_under;
CREATE INDEX records_by_under ON records (org_id, kind, under, id DESC) WHERE under IS NOT NULL;
DROP INDEX records_as_of;
CREATE INDEX records_as_of ON records (org_id, kind, id, valid_from DESC, seq DESC);
ALTER TABLE records
    DROP COLUMN gist,
    DROP COLUMN happened_at;
DROP FUNCTION utc_time(text);
