DROP TABLE ended_sessions;
