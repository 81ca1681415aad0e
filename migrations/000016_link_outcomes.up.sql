-- What is looked up from a deployment on: which gear was in it, and what its plan foresaw. Both are written with the
-- deployment's record and say nothing of their own, so that a fleet's use of its gear and its outcomes are read
-- without opening a plan. Deployments kept before have neither and do not count: no release kept any.

-- The gear a deployment ever named. Which of it the deployment names at a time its versions tell.
CREATE TABLE deployed_gear (
    org_id        uuid NOT NULL,
    gear_id       uuid NOT NULL,
    deployment_id uuid NOT NULL,
    -- Each once, however often a deployment is corrected. It leads with the gear, from which it is looked up.
    CONSTRAINT deployed_gear_pkey PRIMARY KEY (org_id, gear_id, deployment_id)
);

-- What a plan that was followed says of the hours she lies to it.
CREATE TABLE foreseen (
    org_id   uuid NOT NULL,
    plan_id  uuid NOT NULL,
    wear     json NOT NULL, -- what an hour of each phase costs the rode
    outcomes json NOT NULL, -- drift and load by the hour
    -- One row for a plan.
    CONSTRAINT foreseen_pkey PRIMARY KEY (org_id, plan_id),
    -- The plan is kept.
    CONSTRAINT foreseen_plan_fkey FOREIGN KEY (org_id, plan_id) REFERENCES plans (org_id, id)
);

-- For each statement, so that one which would touch no row is refused too.
CREATE TRIGGER deployed_gear_append_only
    BEFORE UPDATE OR DELETE OR TRUNCATE
    ON deployed_gear
    FOR EACH STATEMENT
EXECUTE FUNCTION refuse_change();

-- For each statement, so that one which would touch no row is refused too.
CREATE TRIGGER foreseen_append_only
    BEFORE UPDATE OR DELETE OR TRUNCATE
    ON foreseen
    FOR EACH STATEMENT
EXECUTE FUNCTION refuse_change();

ALTER TABLE deployed_gear ENABLE ROW LEVEL SECURITY;
ALTER TABLE deployed_gear FORCE ROW LEVEL SECURITY;
CREATE POLICY deployed_gear_of_organisation ON deployed_gear USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
ALTER TABLE foreseen ENABLE ROW LEVEL SECURITY;
ALTER TABLE foreseen FORCE ROW LEVEL SECURITY;
CREATE POLICY foreseen_of_organisation ON foreseen USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
GRANT SELECT, INSERT ON deployed_gear, foreseen TO rideout_app;
