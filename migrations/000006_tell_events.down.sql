DROP TRIGGER changes_told ON changes;
DROP FUNCTION tell_change;
DROP INDEX changes_by_time;
