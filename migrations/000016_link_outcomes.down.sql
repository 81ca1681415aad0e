DROP TABLE foreseen;
DROP TABLE deployed_gear;
