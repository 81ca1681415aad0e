DROP POLICY organisation_log_lent ON organisation_log;
DROP POLICY plans_lent ON plans;
DROP POLICY records_lent ON records;
DROP TRIGGER records_keep_mmsi ON records;
DROP TABLE vessel_mmsis;
DROP FUNCTION keep_mmsi();

-- As with rideout_app: another database may need it.
DO
$$
BEGIN
    DROP ROLE rideout_lent;
EXCEPTION
    WHEN dependent_objects_still_exist OR undefined_object OR insufficient_privilege OR internal_error THEN NULL;
END
$$;
