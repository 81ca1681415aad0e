DROP INDEX plans_by_superseded;
DROP TABLE plan_facts;
