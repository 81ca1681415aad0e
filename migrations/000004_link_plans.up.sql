-- A plan for a registered vessel names her, and a plan may name the one it supersedes.

ALTER TABLE plans
    ADD COLUMN vessel_id  uuid,
    ADD COLUMN supersedes uuid,
    -- The plan superseded is of the same organisation.
    ADD CONSTRAINT plans_supersedes_fkey FOREIGN KEY (org_id, supersedes) REFERENCES plans (org_id, id);

-- The list of plans for one registered vessel, newest first.
CREATE INDEX plans_by_vessel_id ON plans (org_id, vessel_id, created_at DESC, id DESC) WHERE vessel_id IS NOT NULL;
