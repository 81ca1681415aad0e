-- One row for each change to what an organisation has recorded, in one order: the only place where a change is
-- noted. Its number and time are taken under the lock of the organisation's row in organisation_log, which is held
-- until commit, so a change with a greater number is seen later by everybody.

CREATE TABLE organisation_log (
    org_id      uuid        NOT NULL,
    seq         bigint      NOT NULL DEFAULT 0, -- of the last change
    -- Nothing more will be recorded as of this time or earlier. It is the last change's time, or a later one that
    -- somebody has asked about.
    known_until timestamptz NOT NULL DEFAULT '1970-01-01T00:00:00Z',
    -- One row for each organisation.
    CONSTRAINT organisation_log_pkey PRIMARY KEY (org_id),
    -- A log is of an organisation there is.
    CONSTRAINT organisation_log_org_id_fkey FOREIGN KEY (org_id) REFERENCES organisations (id),
    -- Changes are counted from 1.
    CONSTRAINT organisation_log_seq_range CHECK (seq >= 0)
);

CREATE TABLE changes (
    org_id      uuid        NOT NULL,
    seq         bigint      NOT NULL, -- from 1, without gaps
    recorded_at timestamptz NOT NULL,
    kind        text        NOT NULL, -- plan, vessel, gear, ...
    entity_id   uuid        NOT NULL,
    version     integer     NOT NULL,
    body_sha256 text        NOT NULL, -- of the body as answered
    by          text        NOT NULL, -- the name of the key, not the key; empty where it is not known
    -- The order of an organisation's changes.
    CONSTRAINT changes_pkey PRIMARY KEY (org_id, seq),
    -- What happened to one thing, each version once.
    CONSTRAINT changes_entity_key UNIQUE (org_id, kind, entity_id, version),
    -- A change is of an organisation there is.
    CONSTRAINT changes_org_id_fkey FOREIGN KEY (org_id) REFERENCES organisations (id),
    -- Counted from 1.
    CONSTRAINT changes_seq_range CHECK (seq >= 1),
    -- Counted from 1.
    CONSTRAINT changes_version_range CHECK (version >= 1),
    -- A word.
    CONSTRAINT changes_kind_form CHECK (kind ~ '^[a-z_]{1,40}$'),
    -- SHA-256 in lower-case hex.
    CONSTRAINT changes_body_sha256_form CHECK (body_sha256 ~ '^[0-9a-f]{64}$'),
    -- A key's name is short.
    CONSTRAINT changes_by_length CHECK (char_length(by) <= 100)
);

-- The plans there are, in the order they were recorded. Their times are made to run forward, as those of changes do.
INSERT INTO changes (org_id, seq, recorded_at, kind, entity_id, version, body_sha256, by)
SELECT org_id, row_number() OVER in_order, max(created_at) OVER in_order, 'plan', id, 1,
    encode(sha256(convert_to(answer::text, 'UTF8')), 'hex'), ''
FROM plans
WINDOW in_order AS (PARTITION BY org_id ORDER BY seq);

INSERT INTO organisation_log (org_id, seq, known_until)
SELECT o.id, coalesce(max(c.seq), 0), coalesce(max(c.recorded_at), '1970-01-01T00:00:00Z')
FROM organisations o
LEFT JOIN changes c ON c.org_id = o.id
GROUP BY o.id;

-- For each statement, so that one which would touch no row is refused too.
CREATE TRIGGER changes_append_only
    BEFORE UPDATE OR DELETE OR TRUNCATE
    ON changes
    FOR EACH STATEMENT
EXECUTE FUNCTION refuse_change();

-- Without its row an organisation would begin to count anew.
CREATE TRIGGER organisation_log_stays
    BEFORE DELETE OR TRUNCATE
    ON organisation_log
    FOR EACH STATEMENT
EXECUTE FUNCTION refuse_change();
