ALTER TABLE replans DROP COLUMN rode_out_m;
