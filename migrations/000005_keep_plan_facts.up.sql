-- What readiness needs to know of a plan for a registered vessel, so that a fleet is judged without reading a plan.
-- Written with the plan. Plans kept before have none and do not count: no release kept any for a registered vessel.

CREATE TABLE plan_facts (
    org_id         uuid             NOT NULL,
    plan_id        uuid             NOT NULL,
    vessel_id      uuid             NOT NULL,
    made_at        timestamptz      NOT NULL,
    intent         text             NOT NULL,
    engine         text             NOT NULL,
    wind_speed_kt  double precision NOT NULL, -- the strongest in any phase
    hs_m           double precision NOT NULL, -- of the same phase
    canopy_verdict text             NOT NULL,
    rode_verdict   text             NOT NULL,
    weakest_part   text             NOT NULL, -- the part used most
    weakest_use    double precision NOT NULL, -- demand over capacity
    weakest_word   text             NOT NULL, -- within, marginal, over
    outfit         text[]           NOT NULL, -- the gear it was made for, a line for each piece
    -- One row for a plan.
    CONSTRAINT plan_facts_pkey PRIMARY KEY (org_id, plan_id),
    -- The plan is kept.
    CONSTRAINT plan_facts_plan_fkey FOREIGN KEY (org_id, plan_id) REFERENCES plans (org_id, id),
    -- Knots; no forecast has twice the strongest wind there is.
    CONSTRAINT plan_facts_wind_range CHECK (wind_speed_kt BETWEEN 0 AND 400),
    -- Metres.
    CONSTRAINT plan_facts_hs_range CHECK (hs_m BETWEEN 0 AND 100),
    -- A share; what breaks many times over is told as well.
    CONSTRAINT plan_facts_use_range CHECK (weakest_use BETWEEN 0 AND 1e9)
);

-- The plans of a vessel for an intent, newest first.
CREATE INDEX plan_facts_by_vessel ON plan_facts (org_id, vessel_id, intent, made_at DESC, plan_id DESC);

-- Which plan took the place of another.
CREATE INDEX plans_by_superseded ON plans (org_id, supersedes, created_at) WHERE supersedes IS NOT NULL;

-- For each statement, so that one which would touch no row is refused too.
CREATE TRIGGER plan_facts_append_only
    BEFORE UPDATE OR DELETE OR TRUNCATE
    ON plan_facts
    FOR EACH STATEMENT
EXECUTE FUNCTION refuse_change();
