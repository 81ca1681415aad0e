package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/store"
)

// answer is how long one kind of question took, sorted.
type answer struct {
	what           string
	took           []time.Duration
	client, server time.Duration // of the processors, for one question
}

// quantile gives the time that so large a share of the answers did not exceed.
func (a answer) quantile(share float64) time.Duration {
	return a.took[min(int(share*float64(len(a.took))), len(a.took)-1)]
}

// warmUp is how many questions of a kind are asked before it is measured.
const warmUp = 10

// asker asks one organisation's history at random places and times.
type asker struct {
	url       string
	store     *store.Store
	registers *service.Registers
	org       service.OrgID
	vessels   []uuid.UUID
	lastSeq   int64
	random    *rand.Rand
}

func ask(ctx context.Context, conn *pgx.Conn, url string, s *store.Store, only string) ([]answer, error) {
	a := &asker{url: url, store: s, random: rand.New(rand.NewPCG(1, 2))}
	a.registers = registers(s)
	if err := conn.QueryRow(ctx, `SELECT id FROM organisations WHERE name = 'fleet 0'`).Scan(&a.org); err != nil {
		return nil, err
	}
	if err := conn.QueryRow(ctx, `SELECT seq FROM organisation_log WHERE org_id = $1`, a.org).Scan(&a.lastSeq); err != nil {
		return nil, err
	}
	rows, err := conn.Query(ctx, `SELECT id FROM records WHERE org_id = $1 AND kind = 'vessel' AND version = 1`, a.org)
	if err != nil {
		return nil, err
	}
	if a.vessels, err = pgx.CollectRows(rows, pgx.RowTo[uuid.UUID]); err != nil {
		return nil, err
	}
	var answers []answer
	for _, q := range a.questions() {
		if !strings.HasPrefix(q.what, only) {
			continue
		}
		one := answer{what: q.what}
		var before, after used
		for i := range warmUp + q.times {
			if i == warmUp {
				if before, err = usedBy(ctx, conn); err != nil {
					return nil, err
				}
			}
			began := time.Now()
			if err := q.ask(ctx); err != nil {
				return nil, fmt.Errorf("%s: %w", q.what, err)
			}
			if i >= warmUp {
				one.took = append(one.took, time.Since(began))
			}
		}
		if after, err = usedBy(ctx, conn); err != nil {
			return nil, err
		}
		one.client, one.server = (after.client-before.client)/time.Duration(q.times), (after.server-before.server)/time.Duration(q.times)
		slices.Sort(one.took)
		answers = append(answers, one)
	}
	return answers, nil
}

func registers(s *store.Store) *service.Registers {
	return &service.Registers{History: s, Clock: func() time.Time { return end }, NewID: uuid.New}
}

type question struct {
	what  string
	times int
	ask   func(context.Context) error
}

func (a *asker) questions() []question {
	list := []question{
		{fmt.Sprintf("readiness of %d vessels, past date", largeFleet), 200, a.fleet},
		{fmt.Sprintf("readiness of %d vessels, first question of a process", largeFleet), 20, a.freshFleet},
		{"readiness, page of 50, past date", 50, a.board(50)},
		{"readiness, page of 200, past date", 30, a.board(200)},
	}
	for _, limit := range []int{50, 200} {
		of := fmt.Sprintf("plans, page of %d, ", limit)
		list = append(list,
			question{of + "first", 500, a.plans(limit, service.PlanFilter{}, first)},
			question{of + "middle", 500, a.plans(limit, service.PlanFilter{}, middle)},
			question{of + "last", 500, a.plans(limit, service.PlanFilter{}, last)},
			question{of + "anywhere", 1000, a.plans(limit, service.PlanFilter{}, anywhere)},
		)
	}
	return append(list,
		question{"plans of a vessel, page of 50, anywhere", 1000, a.plansOfAVessel},
		question{"plans by rare intent, page of 50, anywhere", 200, a.plans(50, service.PlanFilter{Intent: "repair_or_rest"}, anywhere)},
		question{"vessels, page of 50, anywhere, past date", 1000, a.vesselList(50)},
		question{"vessels, page of 200, anywhere, past date", 500, a.vesselList(200)},
		question{"events, page of 200, anywhere", 1000, a.events},
	)
}

// past is a time of the history, by what was known at the time or by all that is known.
func (a *asker) past() service.AsOf {
	at := service.AsOf{ValidAt: a.timeAfter(60)}
	if a.random.IntN(2) == 0 {
		at.KnownAt = at.ValidAt
	}
	return at
}

func (a *asker) timeAfter(day float64) time.Time {
	return begin.Add(time.Duration((day + (days-day)*a.random.Float64()) * 24 * float64(time.Hour)))
}

func (a *asker) vessel() uuid.UUID { return a.vessels[a.random.IntN(len(a.vessels))] }

// atVessel is a place in the list of vessels.
func (a *asker) atVessel() service.RecordPlace {
	return service.RecordPlace{ID: a.vessel(), Backward: a.random.IntN(4) == 0}
}

func (a *asker) fleet(ctx context.Context) error { return a.fleetFrom(ctx, a.registers) }

// freshFleet asks a store that has just been opened, and remembers nothing.
func (a *asker) freshFleet(ctx context.Context) error {
	s, err := store.Open(ctx, store.Config{URL: a.url})
	if err != nil {
		return err
	}
	defer s.Close()
	return a.fleetFrom(ctx, registers(s))
}

func (a *asker) fleetFrom(ctx context.Context, r *service.Registers) error {
	summary, _, err := r.Fleet(ctx, a.org, a.past())
	if err == nil && summary.Vessels != largeFleet {
		err = fmt.Errorf("%d vessels judged", summary.Vessels)
	}
	return err
}

func (a *asker) board(limit int) func(context.Context) error {
	return func(ctx context.Context) error {
		_, _, err := a.registers.Board(ctx, a.org, service.BoardQuery{AsOf: a.past(), From: service.RecordPlace{ID: a.vessels[len(a.vessels)-1-a.random.IntN(1000)]}, Limit: limit})
		return err
	}
}

func (a *asker) vesselList(limit int) func(context.Context) error {
	return func(ctx context.Context) error {
		_, _, err := a.registers.List(ctx, a.org, service.RecordQuery{Kind: fleet.KindVessel, AsOf: a.past(), From: a.atVessel(), Limit: limit})
		return err
	}
}

// Places in the list of plans.
func first(*asker) service.Place { return service.Place{} }

func middle(a *asker) service.Place {
	return service.Place{CreatedAt: begin.AddDate(1, 0, a.random.IntN(10))}
}
func last(*asker) service.Place { return service.Place{Backward: true} }

func anywhere(a *asker) service.Place {
	return service.Place{CreatedAt: a.timeAfter(36), Backward: a.random.IntN(4) == 0}
}

func (a *asker) plans(limit int, filter service.PlanFilter, place func(*asker) service.Place) func(context.Context) error {
	return func(ctx context.Context) error {
		page, err := a.store.Plans(ctx, a.org, filter, place(a), limit)
		if err == nil && len(page.Items) == 0 && filter == (service.PlanFilter{}) {
			err = fmt.Errorf("a page without plans")
		}
		return err
	}
}

func (a *asker) plansOfAVessel(ctx context.Context) error {
	_, err := a.store.Plans(ctx, a.org, service.PlanFilter{VesselID: a.vessel()}, anywhere(a), 50)
	return err
}

func (a *asker) events(ctx context.Context) error {
	_, err := a.store.Events(ctx, a.org, a.random.Int64N(a.lastSeq), end.AddDate(0, 0, -7), 200)
	return err
}
