REVOKE ALL ON plan_facts FROM rideout_app;
DROP POLICY plan_facts_of_organisation ON plan_facts;
ALTER TABLE plan_facts NO FORCE ROW LEVEL SECURITY;
ALTER TABLE plan_facts DISABLE ROW LEVEL SECURITY;

REVOKE ALL ON records FROM rideout_app;
DROP POLICY records_of_organisation ON records;
ALTER TABLE records NO FORCE ROW LEVEL SECURITY;
ALTER TABLE records DISABLE ROW LEVEL SECURITY;

REVOKE ALL ON changes FROM rideout_app;
DROP POLICY changes_of_organisation ON changes;
ALTER TABLE changes NO FORCE ROW LEVEL SECURITY;
ALTER TABLE changes DISABLE ROW LEVEL SECURITY;

REVOKE ALL ON organisation_log FROM rideout_app;
DROP POLICY organisation_log_of_organisation ON organisation_log;
ALTER TABLE organisation_log NO FORCE ROW LEVEL SECURITY;
ALTER TABLE organisation_log DISABLE ROW LEVEL SECURITY;

REVOKE ALL ON idempotency_claims FROM rideout_app;
DROP POLICY idempotency_claims_of_organisation ON idempotency_claims;
ALTER TABLE idempotency_claims NO FORCE ROW LEVEL SECURITY;
ALTER TABLE idempotency_claims DISABLE ROW LEVEL SECURITY;

REVOKE ALL ON plans FROM rideout_app;
DROP POLICY plans_of_organisation ON plans;
ALTER TABLE plans NO FORCE ROW LEVEL SECURITY;
ALTER TABLE plans DISABLE ROW LEVEL SECURITY;

DROP POLICY keys_by_proof ON keys;
REVOKE ALL ON keys FROM rideout_app;
DROP POLICY keys_of_organisation ON keys;
ALTER TABLE keys NO FORCE ROW LEVEL SECURITY;
ALTER TABLE keys DISABLE ROW LEVEL SECURITY;

DROP POLICY organisations_by_name ON organisations;
REVOKE ALL ON organisations FROM rideout_app;
DROP POLICY organisations_itself ON organisations;
ALTER TABLE organisations NO FORCE ROW LEVEL SECURITY;
ALTER TABLE organisations DISABLE ROW LEVEL SECURITY;

-- Roles belong to the whole cluster: another database may need this one, or be dropping it, or it was made by somebody
-- who may do more. Then it stays, and may do nothing here.
DO
$$
BEGIN
    DROP ROLE rideout_app;
EXCEPTION
    WHEN dependent_objects_still_exist OR undefined_object OR insufficient_privilege OR internal_error THEN NULL;
END
$$;
