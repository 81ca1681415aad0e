package store

import (
	"context"
	"errors"

	"github.com/jackc/pgx/v5"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/planner"
	"rideout/service/readiness"
)

// FleetStates gives what is recorded of all vessels, as far as the rules look at it: the book from memory, once what was
// recorded since the last question has been read, and the plans from an index. What only the sentences of a report tell is
// left out, such as serial numbers.
//
// The plans are looked for on a second connection where there is one to spare. As of two times the book reads the same to
// both, since nothing more will be recorded as earlier.
func (r *reader) FleetStates(ctx context.Context, at service.AsOf, storm fleet.DesignStorm) ([]readiness.State, error) {
	windKt, hsM := readiness.Reaches(storm)
	args := pgx.NamedArgs{
		"org": r.org, "valid_at": at.ValidAt, "known_at": at.KnownAt, "storm": planner.RideOutStorm, "wind_kt": windKt, "hs_m": hsM,
	}
	f := anAssembly()
	r.atEnd = append(r.atEnd, f.keep)
	plans := func(tx pgx.Tx) error { return eachRow(ctx, tx, selectFleetPlans, args, f.takePlan) }
	done := make(chan error, 1)
	began := r.beside != nil && r.beside(ctx, plans, done)
	err := r.fleets.read(ctx, r.tx, r.org, func(b *fleetBook) { f.take(b, momentOf(at)) })
	switch {
	case began:
		err = errors.Join(err, <-done)
	case err == nil:
		err = plans(r.tx)
	}
	if err != nil {
		return nil, err
	}
	f.join()
	return f.states, nil
}

// eachRow does something with each row of a statement.
func eachRow(ctx context.Context, tx pgx.Tx, sql string, args pgx.NamedArgs, take func(pgx.Rows) error) error {
	rows, err := tx.Query(ctx, sql, args)
	if err != nil {
		return unavailable(ctx, err)
	}
	defer rows.Close()
	for rows.Next() {
		if err := take(rows); err != nil {
			return err
		}
	}
	return unavailable(ctx, rows.Err())
}

func (f *fleetAssembly) takePlan(rows pgx.Rows) error {
	var p planOf
	var outfit raw
	if err := scanStormPlan(rows, &p.vessel, &p.plan, &outfit); err != nil {
		return err
	}
	lines, known := f.outfits[string(outfit)]
	if !known {
		lines = linesOf(string(outfit))
		f.outfits[string(outfit)] = lines
	}
	p.plan.Outfit = lines
	f.plans = append(f.plans, p)
	return nil
}
