-- The organisation's book: vessels, gear, inspections, drills, policy, deployments, observations, retrievals,
-- incident notes. Each row is one version of one of them. At a time t, by what was known at a time k, a thing is its
-- version with recorded_at <= k and the greatest valid_from <= t, of equals the one with the greatest seq.

CREATE TABLE records (
    org_id      uuid        NOT NULL,
    kind        text        NOT NULL,
    id          uuid        NOT NULL,
    version     integer     NOT NULL,
    seq         bigint      NOT NULL, -- the change that recorded it
    valid_from  timestamptz NOT NULL,
    recorded_at timestamptz NOT NULL,
    vessel_id   uuid, -- whose it is, for her lists; by version, because gear moves
    under       uuid, -- what it belongs to for good: the gear of an inspection, the plan of a deployment
    body        json        NOT NULL, -- json and not jsonb, as in plans: the bytes that were answered
    body_sha256 text        NOT NULL,
    by          text        NOT NULL,
    -- Each version of a thing once.
    CONSTRAINT records_pkey PRIMARY KEY (org_id, kind, id, version),
    -- Each version is one change of the log, and a change records one version.
    CONSTRAINT records_change_key UNIQUE (org_id, seq),
    -- The change is noted.
    CONSTRAINT records_change_fkey FOREIGN KEY (org_id, seq) REFERENCES changes (org_id, seq),
    -- Counted from 1.
    CONSTRAINT records_version_range CHECK (version >= 1),
    -- A word.
    CONSTRAINT records_kind_form CHECK (kind ~ '^[a-z_]{1,40}$'),
    -- SHA-256 in lower-case hex.
    CONSTRAINT records_body_sha256_form CHECK (body_sha256 ~ '^[0-9a-f]{64}$'),
    -- A key's name is short.
    CONSTRAINT records_by_length CHECK (char_length(by) <= 100)
);

-- Finds what a thing was at a time: the first row from valid_from on down, passing over what was not known yet.
CREATE INDEX records_as_of ON records (org_id, kind, id, valid_from DESC, seq DESC);

-- The things that were ever a vessel's, newest first; which of them are hers at a time their versions tell.
CREATE INDEX records_by_vessel ON records (org_id, kind, vessel_id, id DESC) WHERE vessel_id IS NOT NULL;

-- The things that belong to another, newest first.
CREATE INDEX records_by_under ON records (org_id, kind, under, id DESC) WHERE under IS NOT NULL;

-- For each statement, so that one which would touch no row is refused too.
CREATE TRIGGER records_append_only
    BEFORE UPDATE OR DELETE OR TRUNCATE
    ON records
    FOR EACH STATEMENT
EXECUTE FUNCTION refuse_change();
