DROP TABLE idempotency_claims;
DROP TABLE plans;
DROP FUNCTION refuse_change();
DROP TABLE keys;
DROP TABLE organisations;
