-- Every record belongs to an organisation, so org_id leads every key and index but the two that
-- answer a question asked before the organisation is known; both say so.

CREATE TABLE organisations (
    id         uuid        NOT NULL DEFAULT gen_random_uuid(),
    name       text        NOT NULL,
    created_at timestamptz NOT NULL DEFAULT now(),
    -- What org_id names everywhere else.
    CONSTRAINT organisations_pkey PRIMARY KEY (id),
    -- Across organisations: adding one twice by its name gives the one there is.
    CONSTRAINT organisations_name_key UNIQUE (name),
    -- A name is shown to people.
    CONSTRAINT organisations_name_length CHECK (char_length(name) BETWEEN 1 AND 200)
);

CREATE TABLE keys (
    org_id     uuid        NOT NULL,
    id         uuid        NOT NULL DEFAULT gen_random_uuid(),
    key_hash   bytea       NOT NULL, -- SHA-256 of the key; the key itself is nowhere
    label      text        NOT NULL,
    created_at timestamptz NOT NULL DEFAULT now(),
    revoked_at timestamptz,
    -- An organisation's keys together.
    CONSTRAINT keys_pkey PRIMARY KEY (org_id, id),
    -- A key is of an organisation there is.
    CONSTRAINT keys_org_id_fkey FOREIGN KEY (org_id) REFERENCES organisations (id),
    -- Across organisations: the hash is what says whose request it is.
    CONSTRAINT keys_key_hash_key UNIQUE (key_hash),
    -- The length of a SHA-256; a key stored as it is would not pass.
    CONSTRAINT keys_key_hash_length CHECK (octet_length(key_hash) = 32),
    -- A label is shown to people; it may be empty.
    CONSTRAINT keys_label_length CHECK (char_length(label) <= 200),
    -- Nothing is revoked before it is made.
    CONSTRAINT keys_revoked_after_created CHECK (revoked_at >= created_at)
);

CREATE TABLE plans (
    org_id       uuid             NOT NULL,
    id           uuid             NOT NULL,
    seq          bigint           GENERATED ALWAYS AS IDENTITY, -- order of recording; may have gaps
    created_at   timestamptz      NOT NULL,
    vessel_name  text             NOT NULL,
    intent       text             NOT NULL,
    engine       text             NOT NULL,
    input_sha256 text             NOT NULL,
    peak_low_n   double precision NOT NULL,
    peak_mid_n   double precision NOT NULL,
    peak_high_n  double precision NOT NULL,
    pay_out_m    double precision NOT NULL,
    -- json and not jsonb: json gives back the text it was given to the byte, so a repeated read has
    -- the same ETag and input_sha256 can be checked against inputs. jsonb reorders fields and
    -- rewrites spaces. Both refuse what is not JSON, and -> and ->> read both.
    inputs       json             NOT NULL,
    answer       json             NOT NULL,
    working      json             NOT NULL,
    -- One plan by its id; another organisation's is not found.
    CONSTRAINT plans_pkey PRIMARY KEY (org_id, id),
    -- A plan is of an organisation there is.
    CONSTRAINT plans_org_id_fkey FOREIGN KEY (org_id) REFERENCES organisations (id),
    -- Reads an organisation's plans in the order they were recorded.
    CONSTRAINT plans_org_id_seq_key UNIQUE (org_id, seq),
    -- A name of a vessel fits a line, and an index entry.
    CONSTRAINT plans_vessel_name_length CHECK (char_length(vessel_name) <= 200),
    -- The intents the planner knows.
    CONSTRAINT plans_intent_known CHECK (intent IN ('ride_out_storm', 'slow_drift', 'repair_or_rest', 'drill')),
    -- Without the engine's version an old plan cannot be computed again.
    CONSTRAINT plans_engine_length CHECK (char_length(engine) BETWEEN 1 AND 100),
    -- SHA-256 in lower-case hex.
    CONSTRAINT plans_input_sha256_form CHECK (input_sha256 ~ '^[0-9a-f]{64}$'),
    -- Newtons, ordered and finite (Postgres puts NaN above every number); no rode there is holds 100 MN.
    CONSTRAINT plans_peak_range CHECK (0 <= peak_low_n AND peak_low_n <= peak_mid_n AND peak_mid_n <= peak_high_n AND peak_high_n <= 1e8),
    -- Metres; nobody carries 10 km of rode.
    CONSTRAINT plans_pay_out_range CHECK (pay_out_m BETWEEN 0 AND 10000)
);

-- The list of an organisation's plans, newest first, with id to make the order total.
CREATE INDEX plans_by_time ON plans (org_id, created_at DESC, id DESC);

-- The same list for one vessel.
CREATE INDEX plans_by_vessel ON plans (org_id, vessel_name, created_at DESC, id DESC);

-- The same list for one input: who computed this before, and with which engine?
CREATE INDEX plans_by_input ON plans (org_id, input_sha256, created_at DESC, id DESC);

CREATE FUNCTION refuse_change() RETURNS trigger
    LANGUAGE plpgsql AS
$$
BEGIN
    RAISE EXCEPTION '% is append-only: % refused', tg_table_name, tg_op
        USING ERRCODE = 'restrict_violation', HINT = 'Record a new row that supersedes the old one.';
END
$$;

-- For each statement, so that one which would touch no row is refused too.
CREATE TRIGGER plans_append_only
    BEFORE UPDATE OR DELETE OR TRUNCATE
    ON plans
    FOR EACH STATEMENT
EXECUTE FUNCTION refuse_change();

CREATE TABLE idempotency_claims (
    org_id         uuid        NOT NULL,
    key            text        NOT NULL,
    route          text        NOT NULL,
    request_sha256 text        NOT NULL,
    plan_id        uuid,
    answer         bytea, -- null: the plan's answer is the answer, and is not kept twice
    created_at     timestamptz NOT NULL DEFAULT now(),
    -- An organisation's keys are its own: another's same key is another claim.
    CONSTRAINT idempotency_claims_pkey PRIMARY KEY (org_id, key),
    -- A claim is of an organisation there is.
    CONSTRAINT idempotency_claims_org_id_fkey FOREIGN KEY (org_id) REFERENCES organisations (id),
    -- The plan the claim made, of the same organisation.
    CONSTRAINT idempotency_claims_plan_fkey FOREIGN KEY (org_id, plan_id) REFERENCES plans (org_id, id),
    -- The draft of the header leaves the key's form to the server; 255 is what we take.
    CONSTRAINT idempotency_claims_key_length CHECK (char_length(key) BETWEEN 1 AND 255),
    -- A method and a path.
    CONSTRAINT idempotency_claims_route_length CHECK (char_length(route) BETWEEN 1 AND 255),
    -- SHA-256 in lower-case hex.
    CONSTRAINT idempotency_claims_request_sha256_form CHECK (request_sha256 ~ '^[0-9a-f]{64}$'),
    -- There is something to answer a repeat with.
    CONSTRAINT idempotency_claims_answered CHECK (plan_id IS NOT NULL OR answer IS NOT NULL)
);
