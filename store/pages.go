package store

import (
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
)

// pageByID reads a page of what a statement selects, newest id first. One row more is read to tell whether there is more.
func pageByID[T any](ctx context.Context, tx pgx.Tx, sql string, args pgx.NamedArgs, from service.RecordPlace, limit int,
	scan pgx.RowToFunc[T], idOf func(T) uuid.UUID,
) (items []T, next, prev *service.RecordPlace, err error) {
	if limit < 1 {
		return nil, nil, nil, fmt.Errorf("limit %d, want 1 or more", limit)
	}
	atStart, after, order := from.ID == uuid.Nil, "\nAND id < @at", "DESC"
	if from.Backward {
		after, order = "\nAND id > @at", "ASC"
	}
	if !atStart {
		sql += after
		args["at"] = from.ID
	}
	rows, err := tx.Query(ctx, sql+"\nORDER BY id "+order+fmt.Sprint("\nLIMIT ", limit+1), args)
	if err != nil {
		return nil, nil, nil, unavailable(ctx, err)
	}
	if items, err = pgx.CollectRows(rows, scan); err != nil {
		return nil, nil, nil, unavailable(ctx, err)
	}
	items, next, prev = cutByID(items, from, limit, idOf)
	return items, next, prev, nil
}

// cutByID is cut for a list in the order of ids, and names the places on either side.
func cutByID[T any](items []T, from service.RecordPlace, limit int, idOf func(T) uuid.UUID) (kept []T, next, prev *service.RecordPlace) {
	kept, newer, older := cut(items, from.ID == uuid.Nil, from.Backward, limit)
	if newer {
		prev = &service.RecordPlace{ID: idOf(kept[0]), Backward: true}
	}
	if older {
		next = &service.RecordPlace{ID: idOf(kept[len(kept)-1])}
	}
	return kept, next, prev
}

// cut cuts the row that was read beyond the limit, puts the rest newest first, and tells whether there are newer and
// older ones. The row a page was asked from lies on the side it was asked from, as nothing is ever removed.
func cut[T any](items []T, atStart, backward bool, limit int) (kept []T, newer, older bool) {
	more := len(items) > limit
	kept = items[:min(len(items), limit)]
	if backward {
		slices.Reverse(kept)
	}
	if len(kept) == 0 {
		return kept, false, false
	}
	if backward {
		return kept, more, !atStart
	}
	return kept, !atStart, more
}
