package store_test

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/store"
	"rideout/store/storetest"
)

// seed fills the tables with invented rows of four organisations: enough for the planner to prefer indexes by their
// merits, and few enough for a test.
const seed = `
INSERT INTO organisations (id, name) SELECT ` + orgOf + `, 'school ' || o FROM generate_series(0, 3) AS o;
INSERT INTO organisation_log (org_id, seq, known_until) SELECT ` + orgOf + `, 12000, '2026-01-01' FROM generate_series(0, 3) AS o;
INSERT INTO keys (org_id, key_hash, label, version, scopes, created_by) SELECT ` + orgOf + `, sha256(('key ' || o || ' ' || n)::bytea), 'x', 1, array['plans:read'], '' FROM generate_series(0, 3) AS o, generate_series(1, 2000) AS n;
INSERT INTO changes (org_id, seq, recorded_at, kind, entity_id, version, body_sha256, by)
SELECT ` + orgOf + `, n, ` + atOf + `, CASE WHEN n > 6000 THEN 'plan' ELSE ` + sortOf + ` END, ` + thingOf + `, 1 + n % 2, repeat('ab', 32), 'x'
FROM generate_series(0, 3) AS o, generate_series(1, 12000) AS n ORDER BY n;
INSERT INTO records (org_id, kind, id, version, seq, valid_from, recorded_at, vessel_id, under, by, body, body_sha256)
SELECT ` + orgOf + `, kind, ` + thingOf + `, 1 + n % 2, n, ` + atOf + `, ` + atOf + `,
    CASE WHEN kind IN ('gear', 'incident') THEN ` + vesselOf + ` END,
    CASE kind WHEN 'inspection' THEN ` + gearOf + ` WHEN 'drill' THEN ` + vesselOf + ` END, 'x',
    json_build_object('kind', 'rode', 'inspected_at', '2025-01-01T00:00:00Z', 'held_at', '2025-01-01T00:00:00Z', 'occurred_at', '2025-01-01T00:00:00Z', 'note', repeat('x', 300)),
    repeat('ab', 32)
FROM generate_series(0, 3) AS o, generate_series(1, 6000) AS n, LATERAL (SELECT ` + sortOf + ` AS kind) k ORDER BY md5(n::text);
INSERT INTO plans (org_id, id, created_at, vessel_name, intent, engine, input_sha256, peak_low_n, peak_mid_n, peak_high_n, pay_out_m, vessel_id, inputs, answer, working)
SELECT ` + orgOf + `, ` + planOf + `, ` + atOf + `, 'Tern ' || n % 100, CASE WHEN n % 50 = 0 THEN 'repair_or_rest' ELSE 'ride_out_storm' END, 'x',
    encode(sha256(('input ' || n)::bytea), 'hex'), 1, 1, 1, 1, ` + vesselOf + `, '{}', '{}', '[]'
FROM generate_series(0, 3) AS o, generate_series(6001, 12000) AS n ORDER BY n;
INSERT INTO plan_facts (org_id, plan_id, vessel_id, made_at, intent, engine, wind_speed_kt, hs_m, canopy_verdict, rode_verdict, weakest_part, weakest_use, weakest_word, outfit)
SELECT org_id, id, vessel_id, created_at, intent, engine, 50, 8, 'suits', 'suits', 'rode', 0.5, 'within', array['rode', 'canopy', repeat('x', 100)] FROM plans;
INSERT INTO foreseen (org_id, plan_id, wear, outcomes) SELECT org_id, id, '[]', '{}' FROM plans;
INSERT INTO idempotency_claims (org_id, key, route, request_sha256, plan_id)
SELECT org_id, row_number() OVER (PARTITION BY org_id ORDER BY id), 'POST /v1/plans', repeat('ab', 32), id FROM plans`

// Of organisation o and change n. Of the first 6000, each two are versions of one thing: 100 vessels, 800 pieces of
// gear, 1800 inspections, 200 drills and 100 incidents.
const (
	orgOf    = `md5('organisation ' || o)::uuid`
	thingOf  = `overlay(md5('thing ' || o || ' ' || (n + 1) / 2) PLACING lpad(to_hex((n + 1) / 2), 8, '0') FROM 1)::uuid`
	planOf   = `overlay(md5('plan ' || o || ' ' || n) PLACING lpad(to_hex(n), 8, '0') FROM 1)::uuid`
	atOf     = `timestamptz '2024-01-01' + n * interval '80 min'`
	sortOf   = `CASE WHEN n <= 200 THEN 'vessel' WHEN n <= 1800 THEN 'gear' WHEN n <= 5400 THEN 'inspection' WHEN n <= 5800 THEN 'drill' ELSE 'incident' END`
	vesselOf = `overlay(md5('thing ' || o || ' ' || 1 + n % 100) PLACING lpad(to_hex(1 + n % 100), 8, '0') FROM 1)::uuid`
	gearOf   = `overlay(md5('thing ' || o || ' ' || 101 + n % 800) PLACING lpad(to_hex(101 + n % 800), 8, '0') FROM 1)::uuid`
)

// big are the tables that grow without end.
var big = []string{"records", "plans", "plan_facts", "changes", "foreseen", "idempotency_claims", "keys"}

// node is a step of a plan.
type node struct {
	What  string `json:"Node Type"`
	Table string `json:"Relation Name"`
	Index string `json:"Index Name"`
	Steps []node `json:"Plans"`
}

func (n node) each(look func(node)) {
	look(n)
	for _, step := range n.Steps {
		step.each(look)
	}
}

// shapes tells of each statement which indexes it finds its rows by, and how often it sorts: what it answers, or the few
// versions of one thing, and never what lies behind. A star marks an index that is all that is read.
var shapes = map[string]struct {
	indexes string
	sorts   int
}{
	"key":            {"keys_key_hash_key", 0},
	"in force":       {"records_as_of", 0},
	"exists":         {"records_as_of*", 0},
	"plan":           {"changes_entity_key plans_pkey", 0},
	"claim":          {"idempotency_claims_pkey plans_pkey", 0},
	"events":         {"changes_pkey", 0},
	"span of events": {"changes_by_time*", 0},

	"vessels, first page": {"records_as_of records_pkey*", 0},
	"vessels, page":       {"records_as_of records_pkey*", 0},
	"vessels, page back":  {"records_as_of records_pkey*", 0},
	"gear of a vessel":    {"records_as_of records_by_vessel*", 1},
	"inspections of gear": {"records_as_of records_by_under", 0},

	"plans, first page":   {"plans_by_time", 0},
	"plans, page":         {"plans_by_time", 0},
	"plans, page back":    {"plans_by_time", 0},
	"plans of a name":     {"plans_by_vessel", 0},
	"plans of a vessel":   {"plans_by_vessel_id", 0},
	"plans for an intent": {"plans_by_intent", 0},
	"plans of an input":   {"plans_by_input", 0},
	"plans of a month":    {"plans_by_time", 0},

	"first seen":       {"records_pkey or records_as_of*", 1},
	"fitted":           {"records_as_of records_as_of* records_by_vessel*", 1},
	"last inspections": {"records_by_under", 0},
	"last drills":      {"records_by_under", 2},
	"incidents":        {"records_as_of records_by_vessel*", 2},
	"storm plans":      {"plan_facts_by_vessel* plan_facts_pkey plans_by_superseded*", 0},

	"fleet: the book since":   {"records_change_key", 0},
	"fleet: wear":             {"foreseen_pkey", 0},
	"fleet: plans since":      {"changes_pkey plan_facts_pkey plans_pkey", 0},
	"fleet: plans that reach": {"plan_facts_by_vessel* plans_by_superseded*", 0},
	"fleet: facts":            {"plan_facts_pkey", 0},
	"fleet: other plans":      {"plan_facts_by_vessel* plan_facts_pkey plans_by_superseded*", 0},
}

// Each statement a request waits for finds its rows by its index, in the order they are asked for, under the policies
// of the role the service works as.
func TestStatementsFindTheirIndexes(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	for _, statement := range strings.Split(seed, ";\n") {
		ask(t, url, statement)
	}
	ask(t, url, `VACUUM (ANALYZE)`)
	org := uuid.MustParse(ask(t, url, `SELECT org_id::text FROM records LIMIT 1`)[0])
	idsOf := func(table, kind string) (ids []uuid.UUID) {
		for _, text := range ask(t, url, `SELECT DISTINCT id::text FROM `+table+` WHERE org_id = $1 AND `+kind+` ORDER BY 1`, org) {
			ids = append(ids, uuid.MustParse(text))
		}
		return ids
	}
	vessels, gear, plans := idsOf("records", "kind = 'vessel'"), idsOf("records", "kind = 'gear'"), idsOf("plans", "intent = 'repair_or_rest'")
	at := service.AsOf{ValidAt: noon.AddDate(0, -10, 0), KnownAt: noon.AddDate(0, -9, 0)}
	s := storetest.Open(t, url)
	hot := store.Hot(org, vessels[:50], gear[:400], plans[len(plans)/2], at)
	if len(hot) != len(shapes) {
		t.Errorf("got %d statements, want the %d there are shapes of", len(hot), len(shapes))
	}
	for _, q := range hot {
		text, err := s.Explain(t.Context(), org, q)
		if err != nil {
			t.Errorf("%s: %v\n%s", q.Name, err, q.SQL)
			continue
		}
		var tops []struct{ Plan node }
		if err := json.Unmarshal(text, &tops); err != nil {
			t.Fatal(err)
		}
		var used []string
		sorts := 0
		tops[0].Plan.each(func(n node) {
			switch {
			case n.What == "Seq Scan" && slices.Contains(big, n.Table):
				t.Errorf("%s: reads all of %s", q.Name, n.Table)
			case n.What == "Index Only Scan":
				used = append(used, n.Index+"*")
			case n.Index != "":
				used = append(used, n.Index)
			case strings.HasSuffix(n.What, "Sort"):
				sorts++
			}
		})
		slices.Sort(used)
		got := strings.Join(slices.Compact(used), " ")
		if want := shapes[q.Name]; !slices.Contains(strings.Split(want.indexes, " or "), got) || sorts > want.sorts {
			t.Errorf("%s: finds its rows by %q and sorts %d times, want %q and %d; the plan is\n%s", q.Name, got, sorts, want.indexes, want.sorts, text)
		}
	}
}
