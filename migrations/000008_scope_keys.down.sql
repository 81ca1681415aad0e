DROP INDEX idempotency_claims_by_time;

REVOKE UPDATE (version, name, expires_at, last_used_at) ON keys FROM rideout_app;

-- A key that may not do everything would do so without its scopes, and one that has ended would come to life. The owner
-- may be no superuser, and would see no row to revoke.
ALTER TABLE keys NO FORCE ROW LEVEL SECURITY;
UPDATE keys
SET revoked_at = greatest(now(), created_at)
WHERE revoked_at IS NULL AND (expires_at IS NOT NULL OR NOT scopes @> ARRAY ['plans:read', 'plans:write', 'registers:write',
    'outcomes:write', 'incidents:write', 'audit:read', 'admin']);
ALTER TABLE keys FORCE ROW LEVEL SECURITY;

ALTER TABLE keys
    DROP COLUMN version,
    DROP COLUMN name,
    DROP COLUMN scopes,
    DROP COLUMN created_by,
    DROP COLUMN expires_at,
    DROP COLUMN last_used_at,
    DROP COLUMN rotated_from;
