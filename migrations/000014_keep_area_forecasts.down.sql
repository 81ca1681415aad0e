DROP TABLE plan_waters;
DROP TABLE replans;
DROP FUNCTION write_replan_once();
DROP TABLE area_forecasts;
