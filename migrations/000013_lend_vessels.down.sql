DROP POLICY organisation_log_lent ON organisation_log;
DROP POLICY plans_lent ON plans;
DROP POLICY records_lent ON records;
DROP TRIGGER records_keep_mmsi ON records;
DROP TABLE vessel_mmsis;
DROP FUNCTION keep_mmsi();
