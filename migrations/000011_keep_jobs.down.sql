DROP TABLE river_notification, river_queue, river_leader, river_job;
DROP FUNCTION river_job_state_in_bitmask(bit, river_job_state);
DROP TYPE river_job_state;
