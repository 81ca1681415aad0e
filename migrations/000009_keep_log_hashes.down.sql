DROP TABLE log_checkpoints;
DROP TABLE log_hashes;
