-- Work for later: the tables of river v0.51 as its own migrations 2 to 8 leave them, with the marks of their schema
-- filled by nothing, which is the search path. TestTablesAreRivers holds them against what river itself makes.
-- A job names an organisation and ids and holds nothing of what they name. So there is no org_id and no policy: the
-- workers of all organisations take from one queue, and go through the walls when they read what a job names.

CREATE TYPE river_job_state AS ENUM (
    'available', 'cancelled', 'completed', 'discarded', 'pending', 'retryable', 'running', 'scheduled'
);

CREATE TABLE river_job (
    id            bigserial,
    state         river_job_state NOT NULL DEFAULT 'available',
    attempt       smallint        NOT NULL DEFAULT 0,
    max_attempts  smallint        NOT NULL DEFAULT 25,
    attempted_at  timestamptz,
    created_at    timestamptz     NOT NULL DEFAULT now(),
    finalized_at  timestamptz,
    scheduled_at  timestamptz     NOT NULL DEFAULT now(),
    priority      smallint        NOT NULL DEFAULT 1,
    args          jsonb           NOT NULL, -- what is to be done, and ids
    attempted_by  text[],
    errors        jsonb[],                  -- that a try failed; why is in the log of the process
    kind          text            NOT NULL,
    metadata      jsonb           NOT NULL DEFAULT '{}',
    queue         text            NOT NULL DEFAULT 'default',
    tags          varchar(255)[]  NOT NULL DEFAULT '{}',
    unique_key    bytea,
    unique_states bit(8),
    -- One row for a job.
    CONSTRAINT river_job_pkey PRIMARY KEY (id),
    -- A job has a time of its end when it has ended, and only then.
    CONSTRAINT finalized_or_finalized_at_null CHECK (
        (finalized_at IS NULL AND state NOT IN ('cancelled', 'completed', 'discarded')) OR
        (finalized_at IS NOT NULL AND state IN ('cancelled', 'completed', 'discarded'))),
    -- It is tried at least once.
    CONSTRAINT max_attempts_is_positive CHECK (max_attempts > 0),
    -- River's four priorities; 1 goes first.
    CONSTRAINT priority_in_range CHECK (priority >= 1 AND priority <= 4),
    -- A word.
    CONSTRAINT queue_length CHECK (char_length(queue) > 0 AND char_length(queue) < 128),
    -- A word.
    CONSTRAINT kind_length CHECK (char_length(kind) > 0 AND char_length(kind) < 128)
);

-- Lists jobs of a kind.
CREATE INDEX river_job_kind ON river_job USING btree (kind);

-- Finds the ended jobs that are old enough to be cleared away.
CREATE INDEX river_job_state_and_finalized_at_index ON river_job USING btree (state, finalized_at) WHERE finalized_at IS NOT NULL;

-- Takes the next job.
CREATE INDEX river_job_prioritized_fetching_index ON river_job USING btree (state, queue, priority, scheduled_at, id);

-- Finds jobs by what they are about.
CREATE INDEX river_job_args_index ON river_job USING gin (args);

-- Finds jobs by river's own notes.
CREATE INDEX river_job_metadata_index ON river_job USING gin (metadata);

CREATE FUNCTION river_job_state_in_bitmask(bitmask bit(8), state river_job_state) RETURNS boolean
    LANGUAGE sql
    IMMUTABLE AS
$$
    SELECT CASE state
        WHEN 'available' THEN get_bit(bitmask, 7)
        WHEN 'cancelled' THEN get_bit(bitmask, 6)
        WHEN 'completed' THEN get_bit(bitmask, 5)
        WHEN 'discarded' THEN get_bit(bitmask, 4)
        WHEN 'pending'   THEN get_bit(bitmask, 3)
        WHEN 'retryable' THEN get_bit(bitmask, 2)
        WHEN 'running'   THEN get_bit(bitmask, 1)
        WHEN 'scheduled' THEN get_bit(bitmask, 0)
        ELSE 0
    END = 1;
$$;

-- Of jobs that are to be unique, one in the states in which it is to be.
CREATE UNIQUE INDEX river_job_unique_idx ON river_job (unique_key)
    WHERE unique_key IS NOT NULL
      AND unique_states IS NOT NULL
      AND river_job_state_in_bitmask(unique_states, state);

CREATE UNLOGGED TABLE river_leader (
    elected_at timestamptz NOT NULL,
    expires_at timestamptz NOT NULL,
    leader_id  text        NOT NULL,
    name       text        DEFAULT 'default',
    -- One leads at a time: the process that clears away, and takes up what a killed one left.
    CONSTRAINT river_leader_pkey PRIMARY KEY (name),
    -- There is one office.
    CONSTRAINT name_length CHECK (name = 'default'),
    -- A word.
    CONSTRAINT leader_id_length CHECK (char_length(leader_id) > 0 AND char_length(leader_id) < 128)
);

CREATE TABLE river_queue (
    name       text        NOT NULL,
    created_at timestamptz NOT NULL DEFAULT now(),
    metadata   jsonb       NOT NULL DEFAULT '{}',
    paused_at  timestamptz,
    updated_at timestamptz NOT NULL DEFAULT CURRENT_TIMESTAMP,
    -- One row for a queue.
    CONSTRAINT river_queue_pkey PRIMARY KEY (name)
);

CREATE TABLE river_notification (
    id         bigserial,
    created_at timestamptz NOT NULL DEFAULT now(),
    payload    text        NOT NULL,
    topic      text        NOT NULL,
    -- One row for a notice.
    CONSTRAINT river_notification_pkey PRIMARY KEY (id),
    -- A word.
    CONSTRAINT topic_length CHECK (length(topic) > 0 AND length(topic) < 128)
);

-- Clears away what is old.
CREATE INDEX river_notification_created_at_idx ON river_notification (created_at);

-- Reads what is new on a topic.
CREATE INDEX river_notification_topic_id_idx ON river_notification (topic, id);

GRANT SELECT, INSERT, UPDATE, DELETE ON river_job, river_leader, river_queue, river_notification TO rideout_app;
GRANT USAGE, SELECT ON SEQUENCE river_job_id_seq, river_notification_id_seq TO rideout_app;
