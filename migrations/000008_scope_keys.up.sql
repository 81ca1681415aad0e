-- A key may do what its scopes say, until it ends. What becomes of a key is noted in the log as all changes are: each of
-- its versions is in records, without the key and without its hash; this table is what a request is looked up in.
--
-- Keys made before held all scopes. They keep them, so that nothing stops working, but rescue:emergency: a key that
-- reads another organisation's vessel is made on purpose.
ALTER TABLE keys
    ADD COLUMN version      integer NOT NULL DEFAULT 1,
    ADD COLUMN name         text, -- how the key begins, which is no secret; of a key made before, known once it is used
    ADD COLUMN scopes       text[]  NOT NULL DEFAULT ARRAY ['plans:read', 'plans:write', 'registers:write', 'outcomes:write',
        'incidents:write', 'audit:read', 'admin'],
    ADD COLUMN created_by   text    NOT NULL DEFAULT '',
    ADD COLUMN expires_at   timestamptz,
    ADD COLUMN last_used_at timestamptz, -- to the minute
    ADD COLUMN rotated_from uuid,        -- the key this one takes the place of
    -- Counted from 1.
    ADD CONSTRAINT keys_version_range CHECK (version >= 1),
    -- A name says which key is meant.
    ADD CONSTRAINT keys_name_key UNIQUE (org_id, name),
    -- The beginning and no more of a key.
    ADD CONSTRAINT keys_name_form CHECK (name ~ '^ro_[0-9a-z]{8}$'),
    -- A key may do something, and nothing the service does not know.
    ADD CONSTRAINT keys_scopes_known CHECK (cardinality(scopes) >= 1 AND scopes <@ ARRAY ['plans:read', 'plans:write',
        'registers:write', 'outcomes:write', 'incidents:write', 'audit:read', 'rescue:emergency', 'admin']),
    -- A key's name is short.
    ADD CONSTRAINT keys_created_by_length CHECK (char_length(created_by) <= 100),
    -- Nothing ends before it is made.
    ADD CONSTRAINT keys_expires_after_created CHECK (expires_at >= created_at),
    -- A key takes the place of one of the same organisation.
    ADD CONSTRAINT keys_rotated_from_fkey FOREIGN KEY (org_id, rotated_from) REFERENCES keys (org_id, id);

ALTER TABLE keys
    ALTER COLUMN version DROP DEFAULT,
    ALTER COLUMN scopes DROP DEFAULT,
    ALTER COLUMN created_by DROP DEFAULT;

-- What a key may do is never changed; when it ends is.
GRANT UPDATE (version, name, expires_at, last_used_at) ON keys TO rideout_app;

-- Finds the claims that have run out, which each new one sweeps some of.
CREATE INDEX idempotency_claims_by_time ON idempotency_claims (org_id, created_at);
