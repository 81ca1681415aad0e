DROP TABLE changes;
DROP TABLE organisation_log;
