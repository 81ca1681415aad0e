package store_test

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/store"
	"rideout/store/private"
	"rideout/store/storetest"
)

// walled are the tables that hold what is an organisation's.
const walled = `
SELECT c.relname
FROM pg_class c
WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p') AND (c.relname = 'organisations'
    OR EXISTS (SELECT FROM pg_attribute a WHERE a.attrelid = c.oid AND a.attname = 'org_id' AND NOT a.attisdropped))
ORDER BY 1`

func TestEveryTableOfAnOrganisationHasItsWall(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	tables := ask(t, url, walled)
	if len(tables) < 8 {
		t.Fatalf("tables: got %v, want 8 or more", tables)
	}
	for _, table := range tables {
		if got := ask(t, url, `SELECT format('%s %s', relrowsecurity, relforcerowsecurity) FROM pg_class WHERE oid = $1::text::regclass`, table); !slices.Equal(got, []string{"t t"}) {
			t.Errorf("%s: row security and force are %v, want t t", table, got)
		}
		column := "org_id"
		if table == "organisations" {
			column = "id"
		}
		// As Postgres prints it back.
		want := `(` + column + ` = ( SELECT (NULLIF(current_setting('app.org'::text, true), ''::text))::uuid AS "nullif"))`
		if got := ask(t, url, `SELECT count(*) FROM pg_policies WHERE tablename = $1 AND cmd = 'ALL' AND permissive = 'PERMISSIVE' AND qual = $2 AND with_check = $2`, table, want); got[0] != "1" {
			t.Errorf("%s: got %s policies that hold the organisation in USING and WITH CHECK, want 1: %v", table, got[0],
				ask(t, url, `SELECT concat_ws(' ', policyname, cmd, qual, '/', with_check) FROM pg_policies WHERE tablename = $1`, table))
		}
	}
	// What is shown without the organisation is shown to proof, and cannot be written by it.
	got := ask(t, url, `SELECT concat_ws(' ', tablename, policyname, cmd) FROM pg_policies WHERE qual NOT LIKE '%app.org''%' OR with_check IS NULL ORDER BY 1`)
	if want := []string{
		"keys keys_by_proof SELECT", "organisation_log organisation_log_lent SELECT", "organisations organisations_by_name SELECT",
		"plans plans_lent SELECT", "records records_lent SELECT", "vessel_mmsis vessel_mmsis_by_mmsi SELECT",
	}; !slices.Equal(got, want) {
		t.Errorf("policies that do not ask for the organisation: got %v, want %v", got, want)
	}
}

func TestServiceWorksAsARoleOfNoPower(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s, err := store.Open(t.Context(), store.Config{URL: url, MaxConns: 1})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	for range 2 {
		if got, err := s.Raw(t.Context(), `SELECT current_user::text`); err != nil || got[0] != "rideout_app" {
			t.Errorf("works as %v, error %v, want rideout_app", got, err)
		}
		if _, err := s.Raw(t.Context(), `RESET ROLE`); err != nil {
			t.Error(err)
		}
	}
	if got := ask(t, url, `SELECT concat_ws(' ', rolsuper, rolbypassrls, rolcreaterole, rolcreatedb, rolcanlogin, rolreplication) FROM pg_roles WHERE rolname = 'rideout_app'`); !slices.Equal(got, []string{"f f f f f f"}) {
		t.Errorf("superuser, above row security, makes roles, makes databases, logs in, replicates: got %v, want all f", got)
	}
	if got := ask(t, url, `SELECT m.roleid::regrole::text FROM pg_auth_members m WHERE m.member = 'rideout_app'::regrole`); len(got) > 0 {
		t.Errorf("it is a member of %v, want of nothing", got)
	}
	if got := ask(t, url, `
SELECT relname FROM pg_class WHERE relowner = 'rideout_app'::regrole
UNION ALL SELECT proname FROM pg_proc WHERE proowner = 'rideout_app'::regrole OR pronamespace = 'public'::regnamespace AND prosecdef
UNION ALL SELECT datname FROM pg_database WHERE datdba = 'rideout_app'::regrole`); len(got) > 0 {
		t.Errorf("owned by it, or a function with its owner's rights: %v, want nothing", got)
	}
	// What is append-only by trigger is so by right too.
	for _, table := range ask(t, url, `SELECT tgrelid::regclass::text FROM pg_trigger WHERE tgname LIKE '%append_only' ORDER BY 1`) {
		got := ask(t, url, `SELECT privilege_type FROM information_schema.role_table_grants WHERE grantee = 'rideout_app' AND table_name = $1 ORDER BY 1`, table)
		if !slices.Equal(got, []string{"INSERT", "SELECT"}) {
			t.Errorf("%s: granted %v, want INSERT and SELECT", table, got)
		}
	}
	for _, order := range []string{`TRUNCATE keys`, `DROP TABLE plans`, `ALTER TABLE plans DISABLE ROW LEVEL SECURITY`, `DROP POLICY plans_of_organisation ON plans`, `SELECT version FROM schema_migrations`} {
		var said *pgconn.PgError
		if _, err := s.Raw(t.Context(), order); !errors.As(err, &said) || said.Code != "42501" {
			t.Errorf("%s: got %v, want insufficient privilege", order, err)
		}
	}
}

func TestWithoutAnOrganisationNothingIsSeen(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	fill(t, s, anOrg(t, s))
	stranger := uuid.New()
	for _, table := range ask(t, url, walled) {
		if ask(t, url, `SELECT count(*) FROM `+table)[0] == "0" {
			t.Errorf("%s: nothing in it, so this test shows nothing: fill it", table)
		}
		if got, err := s.Raw(t.Context(), `SELECT count(*)::text FROM `+table); err != nil || got[0] != "0" {
			t.Errorf("%s without an organisation: got %v, error %v, want 0", table, got, err)
		}
		err := s.InOrg(t.Context(), stranger, func(tx pgx.Tx) error {
			var n int
			if err := tx.QueryRow(t.Context(), `SELECT count(*) FROM `+table).Scan(&n); err != nil || n != 0 {
				t.Errorf("%s for a stranger: got %d, error %v, want 0", table, n, err)
			}
			return nil
		})
		if err != nil {
			t.Error(err)
		}
	}
}

// fill leaves a row of the organisation in every table.
func fill(t *testing.T, s *store.Store, org service.OrgID) service.PlanRecord {
	t.Helper()
	f := &aFleet{t: t, store: s, org: org, now: noon}
	p := aPlan()
	p.VesselID = f.registerWith("231000000")
	keep(t, s, org, p)
	f.deploy(p.ID)
	aKey(t, s, org, service.KeyDraft{Label: "filled"})
	err := s.InOrg(t.Context(), org, func(tx pgx.Tx) error {
		for _, insert := range []string{
			`INSERT INTO area_forecasts (org_id, id, recorded_at, by, area, sent, forecast) VALUES ($1, $2, now(), '', '{}', '{}', '{}')`,
			`INSERT INTO replans (org_id, forecast_id, vessel_id, vessel_name, plan_id, latitude_deg, longitude_deg, fixed_at, fixed_by) VALUES ($1, $2, $2, '', $2, 0, 0, now(), 'plan')`,
			`INSERT INTO plan_waters (org_id, plan_id, vessel_id, begins_at, ends_at, latitude_deg, longitude_deg) VALUES ($1, $2, $2, now(), now(), 0, 0)`,
			`INSERT INTO log_checkpoints (org_id, size, root) SELECT $1, 0, sha256($2::uuid::text::bytea) ON CONFLICT DO NOTHING`,
			`INSERT INTO personal_texts (org_id, commitment, person_id, recorded_at, salt, text) VALUES ($1, repeat(md5($2::uuid::text), 2), $2, now(), sha256('x'), 'x')`,
			`INSERT INTO webhooks (org_id, id, version, url, state, body, body_sha256, delivered) VALUES ($1, $2, 1, 'https://hooks.example.org', 'paused', '{}', repeat('0', 64), 0)`,
			`INSERT INTO webhook_secrets (org_id, webhook_id, made_at, sealed) VALUES ($1, $2, now(), 'x')`,
			`INSERT INTO webhook_deliveries (org_id, webhook_id, id, seq, attempt, at, took_s, outcome) VALUES ($1, $2, $2, 1, 1, now(), 0, 'refused')`,
			`INSERT INTO ended_sessions (org_id, id, until) VALUES ($1, $2, now())`,
		} {
			if _, err := tx.Exec(t.Context(), insert, org, p.ID); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// deploy records a deployment under a plan, with a piece of gear.
func (f *aFleet) deploy(plan uuid.UUID) {
	f.t.Helper()
	f.now = f.now.Add(time.Hour) // after the plan
	gear := uuid.Nil
	for _, d := range []service.Draft{
		{Kind: fleet.KindGear, Entity: &fleet.GearItem{Kind: "knife"}},
		{Kind: fleet.KindDeployment, Under: plan, Entity: &fleet.Deployment{DeployedAt: noon}},
	} {
		if deployment, ok := d.Entity.(*fleet.Deployment); ok {
			deployment.GearIDs = []uuid.UUID{gear}
		}
		answer, _, err := f.registers().Add(f.t.Context(), f.org, aClaim(uuid.NewString()), d)
		if err != nil {
			f.t.Fatal(err)
		}
		gear = idOf(f.t, answer.Body)
	}
}

// However a transaction ended, the next one on its connection begins without an organisation.
func TestPoolOfOneForgetsTheLastOrganisation(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s, err := store.Open(t.Context(), store.Config{URL: url, MaxConns: 1})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	mine, theirs := anOrg(t, s), anOrg(t, s)
	p := fill(t, s, mine)
	broken := errors.New("broken")
	for name, end := range map[string]func(){
		"a read": func() {
			if _, err := s.Plan(t.Context(), mine, p.ID); err != nil {
				t.Error(err)
			}
		},
		"a commit": func() { fill(t, s, mine) },
		"an error of the work": func() {
			err := s.Change(t.Context(), mine, func(context.Context, service.Recorder) error { return broken })
			if !errors.Is(err, broken) {
				t.Errorf("got %v, want %v", err, broken)
			}
		},
		"an error of a statement": func() {
			err := s.InOrg(t.Context(), mine, func(tx pgx.Tx) error {
				_, err := tx.Exec(t.Context(), `SELECT 1 / 0`)
				return err
			})
			if err == nil {
				t.Error("division by zero: got no error")
			}
		},
		"a cancel in mid-statement": func() {
			ctx, cancel := context.WithCancel(t.Context())
			err := s.InOrg(ctx, mine, func(tx pgx.Tx) error {
				cancel()
				_, err := tx.Exec(ctx, `SELECT pg_sleep(60)`)
				return err
			})
			if !errors.Is(err, context.Canceled) {
				t.Errorf("got %v, want %v", err, context.Canceled)
			}
		},
		"a cancel before the commit": func() {
			ctx, cancel := context.WithCancel(t.Context())
			err := s.InOrg(ctx, mine, func(pgx.Tx) error { cancel(); return nil })
			if !errors.Is(err, context.Canceled) {
				t.Errorf("got %v, want %v", err, context.Canceled)
			}
		},
		"a panic of the work": func() {
			defer func() {
				if recover() == nil {
					t.Error("got no panic")
				}
			}()
			_ = s.InOrg(t.Context(), mine, func(pgx.Tx) error { panic(broken) })
		},
		"a broken session": func() {
			breakSessions(t, url)
			if _, err := s.Plan(t.Context(), mine, p.ID); err != nil {
				t.Error(err)
			}
		},
	} {
		end()
		if got, err := s.Raw(t.Context(), `SELECT concat(current_setting('app.org', true), current_setting('app.key_hash', true), current_setting('app.organisation_name', true),
			current_setting('app.mmsi', true), current_setting('app.lent_org', true), current_setting('app.lent_vessel', true))`); err != nil || got[0] != "" {
			t.Errorf("after %s: told %q, error %v, want nothing", name, got, err)
		}
		if got, err := s.Raw(t.Context(), `SELECT count(*)::text FROM plans`); err != nil || got[0] != "0" {
			t.Errorf("after %s: got %v plans, error %v, want 0", name, got, err)
		}
		if _, err := s.Plan(t.Context(), theirs, p.ID); !errors.Is(err, service.ErrNotFound) {
			t.Errorf("after %s, for another: got %v, want %v", name, err, service.ErrNotFound)
		}
	}
}

// A statement that forgot org_id, or took another's, meets the wall.
func TestNothingIsWrittenThroughTheWall(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	mine, theirs := anOrg(t, s), anOrg(t, s)
	fill(t, s, mine)
	fill(t, s, theirs)
	tables := ask(t, url, walled)
	before := map[string][]string{}
	for _, table := range tables {
		before[table] = ask(t, url, `SELECT t::text FROM `+table+` t ORDER BY 1`)
		column := "org_id"
		if table == "organisations" {
			column = "id"
		}
		try := func(what, sql string, args ...any) {
			err := s.InOrg(t.Context(), mine, func(tx pgx.Tx) error {
				done, err := tx.Exec(t.Context(), sql, args...)
				if err == nil && done.RowsAffected() > 0 {
					return fmt.Errorf("%d rows", done.RowsAffected())
				}
				return err
			})
			var said *pgconn.PgError
			if err != nil && (!errors.As(err, &said) || said.Code != "42501") {
				t.Errorf("%s %s: got %v, want no row or the wall", table, what, err)
			}
		}
		try("taken from another", `UPDATE `+table+` SET `+column+` = $1 WHERE `+column+` = $2`, mine, theirs)
		try("given to another", `UPDATE `+table+` SET `+column+` = $2 WHERE `+column+` = $1`, mine, theirs)
		try("removed from another", `DELETE FROM `+table+` WHERE `+column+` = $1`, theirs)
	}
	inserts := []string{
		`INSERT INTO log_hashes (org_id, index, hash) VALUES ($1, 1000, sha256('x'))`,
		`INSERT INTO log_checkpoints (org_id, size, root) VALUES ($1, 1000, sha256('x'))`,
		`INSERT INTO personal_texts (org_id, commitment, person_id, recorded_at, salt, text) VALUES ($1, repeat('0', 64), gen_random_uuid(), now(), sha256('x'), 'x')`,
		`INSERT INTO area_forecasts (org_id, id, recorded_at, by, area, sent, forecast) VALUES ($1, gen_random_uuid(), now(), '', '{}', '{}', '{}')`,
		`INSERT INTO replans (org_id, forecast_id, vessel_id, vessel_name, plan_id, latitude_deg, longitude_deg, fixed_at, fixed_by) VALUES ($1, gen_random_uuid(), gen_random_uuid(), '', gen_random_uuid(), 0, 0, now(), 'plan')`,
		`INSERT INTO plan_waters (org_id, plan_id, vessel_id, begins_at, ends_at, latitude_deg, longitude_deg) VALUES ($1, gen_random_uuid(), gen_random_uuid(), now(), now(), 0, 0)`,
		`INSERT INTO webhooks (org_id, id, version, url, state, body, body_sha256, delivered) VALUES ($1, gen_random_uuid(), 1, 'https://hooks.example.org', 'paused', '{}', repeat('0', 64), 0)`,
		`INSERT INTO webhook_secrets (org_id, webhook_id, made_at, sealed) VALUES ($1, gen_random_uuid(), now(), 'x')`,
		`INSERT INTO webhook_deliveries (org_id, webhook_id, id, seq, attempt, at, took_s, outcome) VALUES ($1, gen_random_uuid(), gen_random_uuid(), 1, 1, now(), 0, 'refused')`,
		`INSERT INTO ended_sessions (org_id, id, until) VALUES ($1, gen_random_uuid(), now())`,
		`INSERT INTO organisations (id, name) VALUES ($1, 'another')`,
		`INSERT INTO keys (org_id, key_hash, label, version, scopes, created_by) VALUES ($1, sha256('x'), '', 1, '{admin}', '')`,
		`INSERT INTO organisation_log (org_id) VALUES ($1)`,
		`INSERT INTO vessel_mmsis (org_id, mmsi, vessel_id) VALUES ($1, '231000001', gen_random_uuid())`,
		`INSERT INTO changes (org_id, seq, recorded_at, kind, entity_id, version, body_sha256, by) VALUES ($1, 99, now(), 'plan', gen_random_uuid(), 1, repeat('0', 64), '')`,
		`INSERT INTO records (org_id, kind, id, version, seq, valid_from, recorded_at, body, body_sha256, by) VALUES ($1, 'vessel', gen_random_uuid(), 1, 1, now(), now(), '{}', repeat('0', 64), '')`,
		`INSERT INTO idempotency_claims (org_id, key, route, request_sha256, answer) VALUES ($1, 'k', 'POST /', repeat('0', 64), 'x')`,
		`INSERT INTO plan_facts SELECT $1, plan_id, vessel_id, made_at, intent, engine, wind_speed_kt, hs_m, canopy_verdict, rode_verdict, weakest_part, weakest_use, weakest_word, outfit FROM plan_facts`,
		`INSERT INTO deployed_gear (org_id, gear_id, deployment_id) VALUES ($1, gen_random_uuid(), gen_random_uuid())`,
		`INSERT INTO foreseen (org_id, plan_id, wear, outcomes) VALUES ($1, gen_random_uuid(), '[]', '{}')`,
		`INSERT INTO plans (org_id, id, created_at, vessel_name, intent, engine, input_sha256, peak_low_n, peak_mid_n, peak_high_n, pay_out_m, inputs, answer, working)
		SELECT $1, gen_random_uuid(), created_at, vessel_name, intent, engine, input_sha256, peak_low_n, peak_mid_n, peak_high_n, pay_out_m, inputs, answer, working FROM plans`,
	}
	for _, table := range tables {
		if !slices.ContainsFunc(inserts, func(insert string) bool { return strings.HasPrefix(insert, "INSERT INTO "+table+" ") }) {
			t.Errorf("%s: no row is tried; add one to the list, and to fill", table)
		}
	}
	for _, insert := range inserts {
		err := s.InOrg(t.Context(), mine, func(tx pgx.Tx) error {
			_, err := tx.Exec(t.Context(), insert, theirs)
			return err
		})
		var said *pgconn.PgError
		if !errors.As(err, &said) || said.Code != "42501" || !strings.Contains(said.Message, "row-level security") {
			t.Errorf("%s: got %v, want it to meet row-level security", insert, err)
		}
	}
	for _, table := range tables {
		if after := ask(t, url, `SELECT t::text FROM `+table+` t ORDER BY 1`); !slices.Equal(after, before[table]) {
			t.Errorf("%s: changed", table)
		}
	}
}

// The proofs that are told before the organisation is known show one row each, for their transaction.
func TestProofShowsOneRow(t *testing.T) {
	t.Parallel()
	s := storetest.New(t)
	a, b := anOrg(t, s), anOrg(t, s)
	fill(t, s, a)
	fill(t, s, b)
	_, shown := aKey(t, s, a, service.KeyDraft{Label: "shown"})
	for name, c := range map[string]struct {
		hash         []byte
		organisation string
		want         string
	}{
		"neither":     {nil, "", "0 0"},
		"a key":       {shown.Hash(), "", "1 shown 0"},
		"unknown key": {service.NewKey().Hash(), "", "0 0"},
		"no name":     {nil, "%", "0 0"},
	} {
		err := s.InOrg(t.Context(), uuid.Nil, func(tx pgx.Tx) error {
			if _, err := tx.Exec(t.Context(), `SELECT set_config('app.key_hash', encode($1::bytea, 'hex'), true), set_config('app.organisation_name', $2, true)`, c.hash, c.organisation); err != nil {
				return err
			}
			var got string
			err := tx.QueryRow(t.Context(), `SELECT concat_ws(' ', (SELECT count(*) FROM keys), (SELECT string_agg(label, ' ') FROM keys), (SELECT count(*) FROM organisations))`).Scan(&got)
			if got != c.want {
				t.Errorf("%s: got %q keys and organisations, want %q", name, got, c.want)
			}
			return err
		})
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// The walls stand, too, where whoever migrates and connects owns the database and is no superuser; and the role goes
// with the last database that needs it. On a server of its own, because roles are the whole server's.
func TestOwnerWhoIsNoSuperuser(t *testing.T) {
	t.Parallel()
	server, err := private.Start(t.Context(), "", private.Options{Throwaway: true})
	if err != nil {
		t.Fatal(err)
	}
	defer server.Stop()
	ask(t, server.URL(), `CREATE ROLE owner LOGIN CREATEROLE NOSUPERUSER`)
	ask(t, server.URL(), `CREATE ROLE lender LOGIN NOSUPERUSER`)
	urls := map[string]string{}
	for _, owner := range []string{"owner", "lender"} {
		ask(t, server.URL(), `CREATE DATABASE of_`+owner+` OWNER `+owner)
		u, err := url.Parse(server.URL())
		if err != nil {
			t.Fatal(err)
		}
		u.User, u.Path = url.User(owner), "/of_"+owner
		urls[owner] = u.String()
	}
	migrate(t, urls["owner"])
	// Who may not make roles has it made, and given.
	ask(t, server.URL(), `GRANT rideout_app, rideout_lent TO lender`)
	migrate(t, urls["lender"])
	for _, owner := range []string{"lender", "owner"} { // who may drop the role goes last
		url := urls[owner]
		s := storetest.Open(t, url)
		org := anOrg(t, s)
		p := fill(t, s, org)
		if _, err := s.Plan(t.Context(), org, p.ID); err != nil {
			t.Errorf("%s: %v", owner, err)
		}
		wantRows(t, url, "plans", 0) // as the owner, without an organisation
		// A vessel recorded before vessels could be lent is found.
		down(t, url, stepsBackTo(t, "lend_vessels"))
		migrate(t, url)
		if holders, err := s.Holders(t.Context(), "231000000"); err != nil || len(holders) != 1 || holders[0].Org != org {
			t.Errorf("%s: holders %v, error %v, want the vessel there was", owner, holders, err)
		}
		s.Close()
		down(t, url, int(newest(t)))
	}
	if left := ask(t, server.URL(), `SELECT rolname FROM pg_roles WHERE rolname IN ('rideout_app', 'rideout_lent')`); len(left) > 0 {
		t.Errorf("after the last way back there is still %v", left)
	}
}
