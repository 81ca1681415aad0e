-- What happened is told from changes itself: an event is a row of it, and has its number.

-- Finds the first change that is told still, which is the first recorded at a time or later.
CREATE INDEX changes_by_time ON changes (org_id, recorded_at, seq);

CREATE FUNCTION tell_change() RETURNS trigger
    LANGUAGE plpgsql AS
$$
BEGIN
    PERFORM pg_notify('rideout_changes', NEW.org_id::text);
    RETURN NULL;
END
$$;

-- Wakes whoever waits for an organisation's changes, when the transaction commits. It wakes; what is new is read.
CREATE TRIGGER changes_told
    AFTER INSERT
    ON changes
    FOR EACH ROW
EXECUTE FUNCTION tell_change();
