package store

import (
	"context"

	"github.com/jackc/pgx/v5"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/readiness"
)

// FleetStates gives what is recorded of all vessels, as far as the rules look at it: from memory, once what was recorded
// since the last question has been read. What only the sentences of a report tell is left out, such as serial numbers.
func (r *reader) FleetStates(ctx context.Context, at service.AsOf, storm fleet.DesignStorm) (states []readiness.State, err error) {
	err = r.fleets.read(ctx, r.org, func(b *fleetBook) error {
		f := anAssembly()
		r.atEnd = append(r.atEnd, f.keep)
		if err := b.catchUp(ctx, r.tx, r.org); err != nil {
			return err
		}
		f.take(b, momentOf(at))
		plans := b.plansFor(readiness.Reaches(storm))
		if err := plans.catchUp(ctx, r.tx, r.org); err != nil {
			return err
		}
		if err := plans.know(ctx, r.tx, r.org, f.states); err != nil {
			return err
		}
		states = f.states
		return b.giveChosen(ctx, r.tx, r.org, f, plans, at)
	})
	return states, err
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
