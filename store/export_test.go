package store

import (
	"context"
	"fmt"
	"maps"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/planner"
	"rideout/service/readiness"
)

// Raw runs one statement on a connection of the pool, outside of any organisation, and gives its first column as text.
func (s *Store) Raw(ctx context.Context, sql string, args ...any) ([]string, error) {
	rows, err := s.pool.Query(ctx, sql, args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowTo[string])
}

// InOrg runs fn as every transaction of an organisation runs.
func (s *Store) InOrg(ctx context.Context, org service.OrgID, fn func(pgx.Tx) error) error {
	return s.inOrg(ctx, org, pgx.ReadWrite, func(tx *transaction) error { return fn(tx) })
}

// InLent runs fn as every transaction of a vessel that is lent runs.
func (s *Store) InLent(ctx context.Context, h service.Holder, fn func(pgx.Tx) error) error {
	return (&Store{pool: s.pool, patience: s.patience, lent: &h}).inOrg(ctx, h.Org, pgx.ReadOnly, func(tx *transaction) error { return fn(tx) })
}

// Statement is one the store sends, as it is sent.
type Statement struct {
	Name string
	SQL  string
	Args pgx.NamedArgs
}

// Hot gives the statements that requests wait for, with their arguments, over what an organisation has.
func Hot(org service.OrgID, vessels, gear []uuid.UUID, plan uuid.UUID, at service.AsOf) []Statement {
	place := service.Place{CreatedAt: at.ValidAt, ID: plan}
	backward := service.Place{CreatedAt: at.ValidAt, ID: plan, Backward: true}
	asOf := pgx.NamedArgs{"org": org, "valid_at": at.ValidAt, "known_at": at.KnownAt}
	with := func(more pgx.NamedArgs) pgx.NamedArgs {
		args := maps.Clone(asOf)
		maps.Copy(args, more)
		return args
	}
	states := with(pgx.NamedArgs{"vessels": vessels, "gear": gear, "none": readiness.NoDrill, "storm": planner.RideOutStorm, "wind_kt": 52.0, "hs_m": 8.0})
	list := []Statement{
		{"key", selectKeyByHash, pgx.NamedArgs{"hash": []byte{1}}},
		{"in force", selectInForce, with(pgx.NamedArgs{"kind": fleet.KindVessel, "id": vessels[0]})},
		{"exists", selectRecordExists, nil},
		{"plan", selectPlan, nil},
		{"claim", selectClaim, pgx.NamedArgs{"org": org, "key": "17", "life": claimLife}},
		{"events", selectEvents, pgx.NamedArgs{"org": org, "after": 40, "limit": 200}},
		{"span of events", selectEventSpan, nil},
		{"first seen", selectFirstSeen, states},
		{"fitted", selectFitted, states},
		{"last inspections", selectLastInspections, states},
		{"last drills", selectLastDrills, states},
		{"incidents", selectIncidents, states},
		{"storm plans", selectStormPlans, states},
		{"fleet: the book since", selectFleetBook, pgx.NamedArgs{"org": org, "from": 5990, "kinds": fleetKinds}},
		{"fleet: wear", selectFleetWear, pgx.NamedArgs{"org": org, "plans": []uuid.UUID{plan}}},
		{"fleet: plans since", selectPlansSince, with(pgx.NamedArgs{"from": 11990, "most": mostBehind, "storm": planner.RideOutStorm, "wind_kt": 52.0, "hs_m": 8.0})},
		{"fleet: plans that reach", selectPlansThatReach, states},
		{"fleet: facts", selectFacts, pgx.NamedArgs{"org": org, "plans": []uuid.UUID{plan}}},
		{"fleet: other plans", selectOtherPlans, states},
	}
	positional := map[string][]any{
		"key": {[]byte{1}}, "exists": {org, fleet.KindVessel, vessels[0]}, "plan": {org, plan}, "span of events": {org, at.ValidAt},
	}
	for i := range list {
		if values, is := positional[list[i].Name]; is {
			list[i].SQL, list[i].Args = named(list[i].SQL, values)
		}
	}
	add := func(name, sql string, args pgx.NamedArgs) { list = append(list, Statement{name, sql, args}) }
	for name, q := range map[string]service.RecordQuery{
		"vessels, first page": {}, "vessels, page": {From: service.RecordPlace{ID: vessels[len(vessels)/2]}}, "vessels, page back": {From: service.RecordPlace{ID: vessels[len(vessels)/2], Backward: true}},
		"gear of a vessel": {Kind: fleet.KindGear, VesselID: vessels[0]}, "inspections of gear": {Kind: fleet.KindInspection, Under: gear[0]},
	} {
		q.AsOf, q.Limit = at, 50
		if q.Kind == "" {
			q.Kind = fleet.KindVessel
		}
		sql, args := recordsQuery(org, q)
		add(name, sql, args)
	}
	for name, q := range map[string]struct {
		filter service.PlanFilter
		from   service.Place
	}{
		"plans, first page": {}, "plans, page": {from: place}, "plans, page back": {from: backward},
		"plans of a name": {service.PlanFilter{VesselName: "Tern"}, place}, "plans of a vessel": {service.PlanFilter{VesselID: vessels[0]}, place},
		"plans for an intent": {service.PlanFilter{Intent: planner.RepairOrRest}, place}, "plans of an input": {service.PlanFilter{InputSHA256: strings.Repeat("ab", 32)}, place},
		"plans of a month": {service.PlanFilter{CreatedFrom: at.ValidAt.AddDate(0, -1, 0), CreatedBefore: at.ValidAt}, place},
	} {
		sql, args := plansQuery(org, q.filter, q.from)
		add(name, sql+"\nLIMIT 51", args)
	}
	return list
}

// named writes positional arguments as named ones.
func named(sql string, values []any) (string, pgx.NamedArgs) {
	args := pgx.NamedArgs{}
	for i, v := range values {
		name := fmt.Sprintf("p%d", i+1)
		sql, args[name] = strings.ReplaceAll(sql, fmt.Sprintf("$%d", i+1), "@"+name), v
	}
	return sql, args
}

// Explain gives the plan of a statement as JSON, as the service would run it.
func (s *Store) Explain(ctx context.Context, org service.OrgID, q Statement) (plan []byte, err error) {
	err = s.inOrg(ctx, org, pgx.ReadOnly, func(tx *transaction) error {
		return tx.QueryRow(ctx, "EXPLAIN (FORMAT JSON) "+q.SQL, q.Args).Scan(&plan)
	})
	return plan, err
}

// Kept gives how many of the books of these sizes are kept, asked for in this order.
func Kept(sizes []int) (kept []int) {
	k := &fleetBooks{}
	for i, size := range sizes {
		b := k.of(uuid.UUID{byte(i + 1)})
		b.vessels.size = size
		k.weigh(b)
	}
	for _, b := range k.kept {
		kept = append(kept, int(b.org[0]))
	}
	return kept
}
