DROP INDEX plans_by_vessel_id;

ALTER TABLE plans
    DROP CONSTRAINT plans_supersedes_fkey,
    DROP COLUMN supersedes,
    DROP COLUMN vessel_id;
