-- The changes of an organisation are the entries of a tamper-evident log: with each of them the hashes of the complete
-- subtrees it ends are kept, of RFC 6962's tree, as package ledger says. Changes made before this, or by a program that
-- does not know of it, are taken in when the next one is noted.

CREATE TABLE log_hashes (
    org_id uuid   NOT NULL,
    index  bigint NOT NULL, -- in the order they are written, from 0 without gaps
    hash   bytea  NOT NULL,
    -- The hashes of an organisation's log, each by its place.
    CONSTRAINT log_hashes_pkey PRIMARY KEY (org_id, index),
    -- A log is of an organisation there is.
    CONSTRAINT log_hashes_org_id_fkey FOREIGN KEY (org_id) REFERENCES organisations (id),
    -- Counted from 0.
    CONSTRAINT log_hashes_index_range CHECK (index >= 0),
    -- The length of a SHA-256.
    CONSTRAINT log_hashes_hash_length CHECK (octet_length(hash) = 32)
);

-- For each statement, so that one which would touch no row is refused too.
CREATE TRIGGER log_hashes_append_only
    BEFORE UPDATE OR DELETE OR TRUNCATE
    ON log_hashes
    FOR EACH STATEMENT
EXECUTE FUNCTION refuse_change();

ALTER TABLE log_hashes ENABLE ROW LEVEL SECURITY;
ALTER TABLE log_hashes FORCE ROW LEVEL SECURITY;
CREATE POLICY log_hashes_of_organisation ON log_hashes USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
GRANT SELECT, INSERT ON log_hashes TO rideout_app;

-- What has been signed. A log must never have two checkpoints signed that no consistency proof leads between, so a new one is
-- held against the last.
CREATE TABLE log_checkpoints (
    org_id    uuid        NOT NULL,
    size      bigint      NOT NULL, -- entries
    root      bytea       NOT NULL,
    signed_at timestamptz NOT NULL DEFAULT now(),
    -- Each size is signed with one root; the last signed is the greatest.
    CONSTRAINT log_checkpoints_pkey PRIMARY KEY (org_id, size),
    -- A log is of an organisation there is.
    CONSTRAINT log_checkpoints_org_id_fkey FOREIGN KEY (org_id) REFERENCES organisations (id),
    -- A log may be empty.
    CONSTRAINT log_checkpoints_size_range CHECK (size >= 0),
    -- The length of a SHA-256.
    CONSTRAINT log_checkpoints_root_length CHECK (octet_length(root) = 32)
);

-- For each statement, so that one which would touch no row is refused too.
CREATE TRIGGER log_checkpoints_append_only
    BEFORE UPDATE OR DELETE OR TRUNCATE
    ON log_checkpoints
    FOR EACH STATEMENT
EXECUTE FUNCTION refuse_change();

ALTER TABLE log_checkpoints ENABLE ROW LEVEL SECURITY;
ALTER TABLE log_checkpoints FORCE ROW LEVEL SECURITY;
CREATE POLICY log_checkpoints_of_organisation ON log_checkpoints USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
GRANT SELECT, INSERT ON log_checkpoints TO rideout_app;
