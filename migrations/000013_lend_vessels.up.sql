-- Emergency access: a rescue service reads one vessel of another organisation. Accesses and reads are rows of records
-- and changes on both sides; what is here lets a vessel be found by her MMSI, and shows her alone.

-- The MMSIs a vessel ever had. Which vessel has one now, her versions tell.
CREATE TABLE vessel_mmsis (
    org_id    uuid NOT NULL,
    mmsi      text NOT NULL,
    vessel_id uuid NOT NULL,
    -- Each once.
    CONSTRAINT vessel_mmsis_pkey PRIMARY KEY (org_id, mmsi, vessel_id),
    -- It is of an organisation there is.
    CONSTRAINT vessel_mmsis_org_id_fkey FOREIGN KEY (org_id) REFERENCES organisations (id),
    -- Nine digits.
    CONSTRAINT vessel_mmsis_mmsi_form CHECK (mmsi ~ '^[0-9]{9}$')
);

-- Across organisations: whose vessel has an MMSI is asked before the organisation is known.
CREATE INDEX vessel_mmsis_by_mmsi ON vessel_mmsis (mmsi, org_id, vessel_id);

CREATE FUNCTION keep_mmsi() RETURNS trigger
    LANGUAGE plpgsql AS
$$
BEGIN
    INSERT INTO vessel_mmsis (org_id, mmsi, vessel_id)
    VALUES (NEW.org_id, NEW.body ->> 'mmsi', NEW.id)
    ON CONFLICT DO NOTHING;
    RETURN NULL;
END
$$;

-- However a vessel is recorded, she can be found.
CREATE TRIGGER records_keep_mmsi
    AFTER INSERT
    ON records
    FOR EACH ROW
    WHEN (NEW.kind = 'vessel' AND NEW.body ->> 'mmsi' ~ '^[0-9]{9}$')
EXECUTE FUNCTION keep_mmsi();

-- The vessels there are, of all organisations: whoever migrates owns the tables, but FORCE holds the owner too.
ALTER TABLE records NO FORCE ROW LEVEL SECURITY;

INSERT INTO vessel_mmsis (org_id, mmsi, vessel_id)
SELECT DISTINCT org_id, body ->> 'mmsi', id
FROM records
WHERE kind = 'vessel' AND body ->> 'mmsi' ~ '^[0-9]{9}$';

ALTER TABLE records FORCE ROW LEVEL SECURITY;

-- For each statement, so that one which would touch no row is refused too.
CREATE TRIGGER vessel_mmsis_append_only
    BEFORE UPDATE OR DELETE OR TRUNCATE
    ON vessel_mmsis
    FOR EACH STATEMENT
EXECUTE FUNCTION refuse_change();

ALTER TABLE vessel_mmsis ENABLE ROW LEVEL SECURITY;
ALTER TABLE vessel_mmsis FORCE ROW LEVEL SECURITY;
CREATE POLICY vessel_mmsis_of_organisation ON vessel_mmsis USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
GRANT SELECT, INSERT ON vessel_mmsis TO rideout_app;

-- Whoever says an MMSI sees whose vessels ever had it, and nobody can list them.
CREATE POLICY vessel_mmsis_by_mmsi ON vessel_mmsis FOR SELECT
    USING (mmsi = (SELECT nullif(current_setting('app.mmsi', true), '')));

-- A vessel is lent in a transaction of no organisation: app.org is unset, so of every table nothing is seen and nothing
-- can be written. The policies below show what is lent: the vessel's own versions, her plans, and how far the log is
-- known. They are for a role of their own, which such a transaction takes: were they rideout_app's, each of its
-- statements would be planned for either way of seeing a row, and few would go by one index in one order.
DO
$$
BEGIN
    LOOP
        BEGIN
            IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'rideout_lent') THEN
                CREATE ROLE rideout_lent NOLOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOREPLICATION NOBYPASSRLS;
            END IF;
            IF NOT pg_has_role('rideout_lent', 'rideout_app', 'MEMBER') THEN
                GRANT rideout_app TO rideout_lent;
            END IF;
            IF NOT pg_has_role(current_user, 'rideout_lent', 'MEMBER') THEN
                GRANT rideout_lent TO CURRENT_USER;
            END IF;
            EXIT;
        EXCEPTION
            -- Another database's migration was first, or its way back.
            WHEN duplicate_object OR unique_violation OR undefined_object OR internal_error THEN NULL;
        END;
    END LOOP;
    IF EXISTS (SELECT FROM pg_roles WHERE rolname = 'rideout_lent' AND (rolsuper OR rolbypassrls)) THEN
        RAISE EXCEPTION 'the role rideout_lent is above row level security'
            USING HINT = 'ALTER ROLE rideout_lent NOSUPERUSER NOBYPASSRLS';
    END IF;
END
$$;

CREATE POLICY records_lent ON records FOR SELECT TO rideout_lent
    USING (org_id = (SELECT nullif(current_setting('app.lent_org', true), '')::uuid)
        AND kind = 'vessel' AND id = (SELECT nullif(current_setting('app.lent_vessel', true), '')::uuid));
CREATE POLICY plans_lent ON plans FOR SELECT TO rideout_lent
    USING (org_id = (SELECT nullif(current_setting('app.lent_org', true), '')::uuid)
        AND vessel_id = (SELECT nullif(current_setting('app.lent_vessel', true), '')::uuid));
CREATE POLICY organisation_log_lent ON organisation_log FOR SELECT TO rideout_lent
    USING (org_id = (SELECT nullif(current_setting('app.lent_org', true), '')::uuid));
