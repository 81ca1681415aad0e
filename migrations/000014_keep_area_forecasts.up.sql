-- Forecasts for areas of sea, and the vessels at sea in them that are planned for anew.

CREATE TABLE area_forecasts (
    org_id      uuid        NOT NULL,
    id          uuid        NOT NULL,
    recorded_at timestamptz NOT NULL,
    by          text        NOT NULL,
    area        json        NOT NULL, -- GeoJSON, as sent
    sent        json        NOT NULL, -- the forecast, as sent
    forecast    json        NOT NULL, -- the same in SI units, as plans are computed from it
    -- Newest first by id, which sorts by time.
    CONSTRAINT area_forecasts_pkey PRIMARY KEY (org_id, id),
    -- A forecast is of an organisation there is.
    CONSTRAINT area_forecasts_org_id_fkey FOREIGN KEY (org_id) REFERENCES organisations (id),
    -- A key's name is short.
    CONSTRAINT area_forecasts_by_length CHECK (char_length(by) <= 100)
);

-- For each statement, so that one which would touch no row is refused too.
CREATE TRIGGER area_forecasts_append_only
    BEFORE UPDATE OR DELETE OR TRUNCATE
    ON area_forecasts
    FOR EACH STATEMENT
EXECUTE FUNCTION refuse_change();

-- One vessel of a forecast. What became of her is written once.
CREATE TABLE replans (
    org_id        uuid             NOT NULL,
    forecast_id   uuid             NOT NULL,
    vessel_id     uuid             NOT NULL,
    vessel_name   text             NOT NULL,
    plan_id       uuid             NOT NULL, -- the one she goes by
    deployment_id uuid, -- null: her canopy is not out
    latitude_deg  double precision NOT NULL,
    longitude_deg double precision NOT NULL,
    fixed_at      timestamptz      NOT NULL,
    fixed_by      text             NOT NULL,
    done_at       timestamptz, -- null: she waits
    new_plan_id   uuid,
    refused       text,
    outlook       json,
    -- A vessel once.
    CONSTRAINT replans_pkey PRIMARY KEY (org_id, forecast_id, vessel_id),
    -- The forecast is kept.
    CONSTRAINT replans_forecast_fkey FOREIGN KEY (org_id, forecast_id) REFERENCES area_forecasts (org_id, id),
    -- The plan she goes by is kept.
    CONSTRAINT replans_plan_fkey FOREIGN KEY (org_id, plan_id) REFERENCES plans (org_id, id),
    -- So is the new one.
    CONSTRAINT replans_new_plan_fkey FOREIGN KEY (org_id, new_plan_id) REFERENCES plans (org_id, id),
    -- A name of a vessel fits a line.
    CONSTRAINT replans_vessel_name_length CHECK (char_length(vessel_name) <= 200),
    -- Degrees north.
    CONSTRAINT replans_latitude_range CHECK (latitude_deg BETWEEN -90 AND 90),
    -- Degrees east.
    CONSTRAINT replans_longitude_range CHECK (longitude_deg BETWEEN -180 AND 180),
    -- Who or what said where she is.
    CONSTRAINT replans_fixed_by_known CHECK (fixed_by IN ('observation', 'deployment', 'plan')),
    -- Done is either planned, with what the plan says, or refused, with why.
    CONSTRAINT replans_outcome CHECK (
        done_at IS NULL AND new_plan_id IS NULL AND refused IS NULL AND outlook IS NULL
        OR done_at IS NOT NULL AND new_plan_id IS NOT NULL AND refused IS NULL AND outlook IS NOT NULL
        OR done_at IS NOT NULL AND new_plan_id IS NULL AND refused <> '' AND outlook IS NULL
    )
);

CREATE FUNCTION write_replan_once() RETURNS trigger
    LANGUAGE plpgsql AS
$$
BEGIN
    IF OLD.done_at IS NOT NULL THEN
        RAISE EXCEPTION 'what became of a vessel under a forecast is written once'
            USING ERRCODE = 'restrict_violation';
    END IF;
    RETURN NEW;
END
$$;

-- What became of her is not written anew.
CREATE TRIGGER replans_once
    BEFORE UPDATE
    ON replans
    FOR EACH ROW
EXECUTE FUNCTION write_replan_once();

-- For each statement, so that one which would touch no row is refused too.
CREATE TRIGGER replans_stay
    BEFORE DELETE OR TRUNCATE
    ON replans
    FOR EACH STATEMENT
EXECUTE FUNCTION refuse_change();

-- Where and over which hours the plan of a registered vessel runs. Written with the plan.
CREATE TABLE plan_waters (
    org_id        uuid             NOT NULL,
    plan_id       uuid             NOT NULL,
    vessel_id     uuid             NOT NULL,
    begins_at     timestamptz      NOT NULL,
    ends_at       timestamptz      NOT NULL, -- the last step of its forecast
    latitude_deg  double precision NOT NULL,
    longitude_deg double precision NOT NULL,
    -- One row for a plan that has a position.
    CONSTRAINT plan_waters_pkey PRIMARY KEY (org_id, plan_id),
    -- The plan is kept.
    CONSTRAINT plan_waters_plan_fkey FOREIGN KEY (org_id, plan_id) REFERENCES plans (org_id, id),
    -- Time runs forward.
    CONSTRAINT plan_waters_span CHECK (begins_at <= ends_at),
    -- Degrees north.
    CONSTRAINT plan_waters_latitude_range CHECK (latitude_deg BETWEEN -90 AND 90),
    -- Degrees east.
    CONSTRAINT plan_waters_longitude_range CHECK (longitude_deg BETWEEN -180 AND 180)
);

-- The plans that still run at a time.
CREATE INDEX plan_waters_by_end ON plan_waters (org_id, ends_at);

-- For each statement, so that one which would touch no row is refused too.
CREATE TRIGGER plan_waters_append_only
    BEFORE UPDATE OR DELETE OR TRUNCATE
    ON plan_waters
    FOR EACH STATEMENT
EXECUTE FUNCTION refuse_change();

-- The plans there are, of all organisations: the owner may be no superuser, and would see none through the wall.
ALTER TABLE plans NO FORCE ROW LEVEL SECURITY;
INSERT INTO plan_waters (org_id, plan_id, vessel_id, begins_at, ends_at, latitude_deg, longitude_deg)
SELECT org_id, id, vessel_id, (inputs #>> '{forecast,steps,0,time}')::timestamptz, (inputs #>> '{forecast,steps,-1,time}')::timestamptz,
    (inputs #>> '{position,latitude_deg}')::double precision, (inputs #>> '{position,longitude_deg}')::double precision
FROM plans
WHERE vessel_id IS NOT NULL AND inputs #>> '{position,latitude_deg}' IS NOT NULL;
ALTER TABLE plans FORCE ROW LEVEL SECURITY;

ALTER TABLE area_forecasts ENABLE ROW LEVEL SECURITY;
ALTER TABLE area_forecasts FORCE ROW LEVEL SECURITY;
CREATE POLICY area_forecasts_of_organisation ON area_forecasts USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
GRANT SELECT, INSERT ON area_forecasts TO rideout_app;

ALTER TABLE replans ENABLE ROW LEVEL SECURITY;
ALTER TABLE replans FORCE ROW LEVEL SECURITY;
CREATE POLICY replans_of_organisation ON replans USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
GRANT SELECT, INSERT, UPDATE (done_at, new_plan_id, refused, outlook) ON replans TO rideout_app;

ALTER TABLE plan_waters ENABLE ROW LEVEL SECURITY;
ALTER TABLE plan_waters FORCE ROW LEVEL SECURITY;
CREATE POLICY plan_waters_of_organisation ON plan_waters USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
GRANT SELECT, INSERT ON plan_waters TO rideout_app;
