-- Where an organisation's events are sent, and how far each has got. What is sent are the changes themselves, in their
-- order: there is no second list of them that could differ.

CREATE TABLE webhooks (
    org_id        uuid        NOT NULL,
    id            uuid        NOT NULL,
    version       integer     NOT NULL,
    url           text        NOT NULL,
    kinds         text[],               -- of changes; null: all
    state         text        NOT NULL,
    body          json        NOT NULL, -- json and not jsonb, as in plans: the bytes that were answered
    body_sha256   text        NOT NULL,
    delivered     bigint      NOT NULL, -- the number of the last change that was delivered, or passed over by its kind
    failures      integer     NOT NULL DEFAULT 0, -- attempts since the last that went well
    failing_since timestamptz,
    next_at       timestamptz,          -- no attempt before
    -- Since when a job is noted that will come for it; a change notes one where there is none.
    waiting_since timestamptz,
    lease         uuid,                 -- of the job at work on it
    leased_until  timestamptz,
    -- One row for a webhook.
    CONSTRAINT webhooks_pkey PRIMARY KEY (org_id, id),
    -- A webhook is of an organisation there is.
    CONSTRAINT webhooks_org_id_fkey FOREIGN KEY (org_id) REFERENCES organisations (id),
    -- Counted from 1.
    CONSTRAINT webhooks_version_range CHECK (version >= 1),
    -- An address.
    CONSTRAINT webhooks_url_length CHECK (char_length(url) BETWEEN 1 AND 2000),
    -- Sent to; held by its organisation; held by us.
    CONSTRAINT webhooks_state_known CHECK (state IN ('active', 'paused', 'disabled')),
    -- SHA-256 in lower-case hex.
    CONSTRAINT webhooks_body_sha256_form CHECK (body_sha256 ~ '^[0-9a-f]{64}$'),
    -- 0: nothing yet.
    CONSTRAINT webhooks_delivered_range CHECK (delivered >= 0),
    -- Counted from 0.
    CONSTRAINT webhooks_failures_range CHECK (failures >= 0),
    -- A lease has an end.
    CONSTRAINT webhooks_lease_ends CHECK ((lease IS NULL) = (leased_until IS NULL))
);

CREATE TABLE webhook_secrets (
    org_id     uuid        NOT NULL,
    webhook_id uuid        NOT NULL,
    made_at    timestamptz NOT NULL,
    until      timestamptz,          -- after it nothing is signed with it; null: it is the current one
    sealed     bytea       NOT NULL, -- AES-256-GCM under a key that is not in the database
    -- In the order they were made.
    CONSTRAINT webhook_secrets_pkey PRIMARY KEY (org_id, webhook_id, made_at),
    -- A secret is of a webhook there is.
    CONSTRAINT webhook_secrets_webhook_fkey FOREIGN KEY (org_id, webhook_id) REFERENCES webhooks (org_id, id)
);

CREATE TABLE webhook_deliveries (
    org_id     uuid             NOT NULL,
    webhook_id uuid             NOT NULL,
    id         uuid             NOT NULL,
    seq        bigint           NOT NULL, -- of the change
    attempt    integer          NOT NULL,
    at         timestamptz      NOT NULL,
    took_s     double precision NOT NULL,
    outcome    text             NOT NULL,
    status     integer,                   -- of HTTP; null: no answer
    -- The attempts of a webhook, newest first: an id begins with its time.
    CONSTRAINT webhook_deliveries_pkey PRIMARY KEY (org_id, webhook_id, id),
    -- An attempt is of a webhook there is.
    CONSTRAINT webhook_deliveries_webhook_fkey FOREIGN KEY (org_id, webhook_id) REFERENCES webhooks (org_id, id),
    -- What was to be delivered is a change.
    CONSTRAINT webhook_deliveries_change_fkey FOREIGN KEY (org_id, seq) REFERENCES changes (org_id, seq),
    -- Counted from 1.
    CONSTRAINT webhook_deliveries_attempt_range CHECK (attempt >= 1),
    -- Seconds; none is waited for longer than an hour.
    CONSTRAINT webhook_deliveries_took_range CHECK (took_s BETWEEN 0 AND 3600),
    -- A word.
    CONSTRAINT webhook_deliveries_outcome_form CHECK (outcome ~ '^[a-z_]{1,40}$'),
    -- What HTTP knows.
    CONSTRAINT webhook_deliveries_status_range CHECK (status BETWEEN 100 AND 999)
);

-- Finds the attempts that are old enough to be forgotten.
CREATE INDEX webhook_deliveries_by_time ON webhook_deliveries (org_id, webhook_id, at);

ALTER TABLE webhooks ENABLE ROW LEVEL SECURITY;
ALTER TABLE webhooks FORCE ROW LEVEL SECURITY;
CREATE POLICY webhooks_of_organisation ON webhooks USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
GRANT SELECT, INSERT, UPDATE, DELETE ON webhooks TO rideout_app;

ALTER TABLE webhook_secrets ENABLE ROW LEVEL SECURITY;
ALTER TABLE webhook_secrets FORCE ROW LEVEL SECURITY;
CREATE POLICY webhook_secrets_of_organisation ON webhook_secrets USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
GRANT SELECT, INSERT, DELETE ON webhook_secrets TO rideout_app;

ALTER TABLE webhook_deliveries ENABLE ROW LEVEL SECURITY;
ALTER TABLE webhook_deliveries FORCE ROW LEVEL SECURITY;
CREATE POLICY webhook_deliveries_of_organisation ON webhook_deliveries USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
GRANT SELECT, INSERT, DELETE ON webhook_deliveries TO rideout_app;
