ALTER TABLE plan_facts DROP COLUMN weakest_use_high;
