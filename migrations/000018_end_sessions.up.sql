-- The sessions on the board that were ended by signing out before they were too old. A session is sealed in its cookie and kept
-- nowhere; without this a copy of the cookie would go on.
CREATE TABLE ended_sessions
(
    -- A session is of an organisation there is.
    org_id uuid        NOT NULL REFERENCES organisations (id),
    id     uuid        NOT NULL,
    -- When it would have been too old; from then on the row says nothing and may go.
    until  timestamptz NOT NULL,
    -- A session ends once.
    PRIMARY KEY (org_id, id)
);

ALTER TABLE ended_sessions ENABLE ROW LEVEL SECURITY;
ALTER TABLE ended_sessions FORCE ROW LEVEL SECURITY;
CREATE POLICY ended_sessions_of_organisation ON ended_sessions USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
GRANT SELECT, INSERT, DELETE ON ended_sessions TO rideout_app;
