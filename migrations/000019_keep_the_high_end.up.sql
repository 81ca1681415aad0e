-- The share of its capacity the weakest part would bear at the high end of the load. What was made before is not known by it.
-- It is a share, and nothing bears less than none.
ALTER TABLE plan_facts ADD COLUMN weakest_use_high double precision CHECK (weakest_use_high >= 0);
