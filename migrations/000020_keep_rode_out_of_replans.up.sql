-- How much rode was out as the forecast came, by the deployment. Null: her canopy was not out, or it was not reported, or not kept then.
ALTER TABLE replans ADD COLUMN rode_out_m double precision CHECK (rode_out_m > 0);
