-- The walls between organisations. The service works as the role rideout_app, which owns nothing and may do nothing but
-- what is granted here; and of each table it sees, and can write, the rows of the organisation in app.org alone, which
-- each transaction sets. Unset, that is none. FORCE holds the owner to the same; only a superuser is outside.
--
-- The setting is read in a subquery, so once a statement and not once a row. A setting that was ever set for a
-- transaction is empty, not null, after it: hence nullif.

-- Roles belong to the whole cluster, where other databases may be making or dropping the same one. The first GRANT
-- ends the race: from then on the role is in use, and stays.
DO
$$
BEGIN
    LOOP
        IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'rideout_app') THEN
            BEGIN
                CREATE ROLE rideout_app NOLOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOREPLICATION NOBYPASSRLS;
            EXCEPTION
                WHEN duplicate_object OR unique_violation THEN NULL; -- another database's migration was first
            END;
        END IF;
        BEGIN
            GRANT SELECT, INSERT ON organisations TO rideout_app;
            EXIT;
        EXCEPTION
            WHEN undefined_object THEN NULL; -- another database's way back was first
        END;
    END LOOP;
    IF EXISTS (SELECT FROM pg_roles WHERE rolname = 'rideout_app' AND (rolsuper OR rolbypassrls)) THEN
        RAISE EXCEPTION 'the role rideout_app is above row level security'
            USING HINT = 'ALTER ROLE rideout_app NOSUPERUSER NOBYPASSRLS';
    END IF;
    -- Whoever migrates is whoever the service connects as.
    IF NOT pg_has_role(current_user, 'rideout_app', 'MEMBER') THEN
        GRANT rideout_app TO CURRENT_USER;
    END IF;
END
$$;

ALTER TABLE organisations ENABLE ROW LEVEL SECURITY;
ALTER TABLE organisations FORCE ROW LEVEL SECURITY;
CREATE POLICY organisations_itself ON organisations USING (id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (id = (SELECT nullif(current_setting('app.org', true), '')::uuid));

-- The command line knows an organisation by its name. Whoever says the name sees the row, and nobody can list them.
CREATE POLICY organisations_by_name ON organisations FOR SELECT
    USING (name = (SELECT nullif(current_setting('app.organisation_name', true), '')));

ALTER TABLE keys ENABLE ROW LEVEL SECURITY;
ALTER TABLE keys FORCE ROW LEVEL SECURITY;
CREATE POLICY keys_of_organisation ON keys USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
GRANT SELECT, INSERT, UPDATE (revoked_at) ON keys TO rideout_app;

-- A request's key says whose it is, so it is looked up before app.org is known. Whoever holds the key knows its hash,
-- and sees that one row.
CREATE POLICY keys_by_proof ON keys FOR SELECT
    USING (key_hash = (SELECT decode(nullif(current_setting('app.key_hash', true), ''), 'hex')));

ALTER TABLE plans ENABLE ROW LEVEL SECURITY;
ALTER TABLE plans FORCE ROW LEVEL SECURITY;
CREATE POLICY plans_of_organisation ON plans USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
GRANT SELECT, INSERT ON plans TO rideout_app;

ALTER TABLE idempotency_claims ENABLE ROW LEVEL SECURITY;
ALTER TABLE idempotency_claims FORCE ROW LEVEL SECURITY;
CREATE POLICY idempotency_claims_of_organisation ON idempotency_claims USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
GRANT SELECT, INSERT, UPDATE, DELETE ON idempotency_claims TO rideout_app;

ALTER TABLE organisation_log ENABLE ROW LEVEL SECURITY;
ALTER TABLE organisation_log FORCE ROW LEVEL SECURITY;
CREATE POLICY organisation_log_of_organisation ON organisation_log USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
GRANT SELECT, INSERT, UPDATE ON organisation_log TO rideout_app;

ALTER TABLE changes ENABLE ROW LEVEL SECURITY;
ALTER TABLE changes FORCE ROW LEVEL SECURITY;
CREATE POLICY changes_of_organisation ON changes USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
GRANT SELECT, INSERT ON changes TO rideout_app;

ALTER TABLE records ENABLE ROW LEVEL SECURITY;
ALTER TABLE records FORCE ROW LEVEL SECURITY;
CREATE POLICY records_of_organisation ON records USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
GRANT SELECT, INSERT ON records TO rideout_app;

ALTER TABLE plan_facts ENABLE ROW LEVEL SECURITY;
ALTER TABLE plan_facts FORCE ROW LEVEL SECURITY;
CREATE POLICY plan_facts_of_organisation ON plan_facts USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
GRANT SELECT, INSERT ON plan_facts TO rideout_app;
