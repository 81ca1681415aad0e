-- How much rode was out as the forecast came, by the deployment. Null: her canopy was not out, or it was not reported, or not kept then.
ALTER TABLE replans
    ADD COLUMN rode_out_m double precision,
    -- What is out has a length.
    ADD CONSTRAINT replans_rode_out_positive CHECK (rode_out_m > 0);
