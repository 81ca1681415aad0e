-- What is written about a person stands apart from the book: a body holds a commitment to it, HMAC-SHA-256 under a salt. When
-- text and salt are erased nobody can tell what the text was, and body, entry and tree still verify. This is the one
-- table in which something recorded can go.

CREATE TABLE personal_texts (
    org_id      uuid        NOT NULL,
    commitment  text        NOT NULL, -- as bodies hold it
    person_id   uuid        NOT NULL,
    recorded_at timestamptz NOT NULL,
    salt        bytea,
    text        text,
    erased_at   timestamptz,
    -- A text by the commitment to it, of the same organisation.
    CONSTRAINT personal_texts_pkey PRIMARY KEY (org_id, commitment),
    -- A text is of an organisation there is.
    CONSTRAINT personal_texts_org_id_fkey FOREIGN KEY (org_id) REFERENCES organisations (id),
    -- HMAC-SHA-256 in lower-case hex.
    CONSTRAINT personal_texts_commitment_form CHECK (commitment ~ '^[0-9a-f]{64}$'),
    -- As much chance as the hash has bits.
    CONSTRAINT personal_texts_salt_length CHECK (octet_length(salt) = 32),
    -- A name and a few words.
    CONSTRAINT personal_texts_text_length CHECK (char_length(text) BETWEEN 1 AND 2000),
    -- Text and salt are there, or they are erased: a salt left behind would let likely texts be tried.
    CONSTRAINT personal_texts_whole_or_erased CHECK ((text IS NULL) = (erased_at IS NOT NULL) AND (salt IS NULL) = (text IS NULL))
);

-- All that is written about a person, to be erased.
CREATE INDEX personal_texts_by_person ON personal_texts (org_id, person_id);

CREATE FUNCTION refuse_all_but_erasing() RETURNS trigger
    LANGUAGE plpgsql AS
$$
BEGIN
    IF OLD.text IS NOT NULL AND NEW.text IS NULL AND (NEW.org_id, NEW.commitment, NEW.person_id, NEW.recorded_at) = (OLD.org_id, OLD.commitment, OLD.person_id, OLD.recorded_at) THEN
        RETURN NEW;
    END IF;
    RAISE EXCEPTION 'a personal text is erased or stays as it is: % refused', tg_op
        USING ERRCODE = 'restrict_violation';
END
$$;

-- A text is erased as a whole, and not written anew.
CREATE TRIGGER personal_texts_only_erased
    BEFORE UPDATE
    ON personal_texts
    FOR EACH ROW
EXECUTE FUNCTION refuse_all_but_erasing();

-- The row stays, because it says when the text was erased. For each statement, so that one which would touch no row is refused too.
CREATE TRIGGER personal_texts_stay
    BEFORE DELETE OR TRUNCATE
    ON personal_texts
    FOR EACH STATEMENT
EXECUTE FUNCTION refuse_change();

ALTER TABLE personal_texts ENABLE ROW LEVEL SECURITY;
ALTER TABLE personal_texts FORCE ROW LEVEL SECURITY;
CREATE POLICY personal_texts_of_organisation ON personal_texts USING (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid)) WITH CHECK (org_id = (SELECT nullif(current_setting('app.org', true), '')::uuid));
GRANT SELECT, INSERT, UPDATE (salt, text, erased_at) ON personal_texts TO rideout_app;
