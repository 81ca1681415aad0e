DROP TABLE records;
