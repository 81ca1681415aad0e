package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/planner"
	"rideout/service/readiness"
)

// fleetBook is what the rules of readiness look at in every version of an organisation's book, as it was read. Nothing
// recorded is changed, so it never grows old: a question reads what was recorded since the last one, and finds what was in
// force without asking the database.
type fleetBook struct {
	turn chan struct{} // held by whoever reads or adds to it

	upTo   int64  // the last change that is in it
	upToIs string // hash of that version's body: by it a database put back to an earlier time is told

	vessels     things[vesselGist]
	gear        things[gearGist]
	inspections things[inspectionGist]
	drills      things[drillGist]
	incidents   things[incidentGist]
	deployments things[deploymentGist]
	retrievals  things[retrievalGist]

	parts   map[string]part // gear alike shares what was read of it; by gist
	figures map[string]part // by kind and figures
	wears   map[string][]planner.PhaseWear
	wearOf  map[uuid.UUID][]planner.PhaseWear // what an hour costs by each plan followed
	wanted  []uuid.UUID                       // plans whose wear has not been read yet

	plans []*fleetPlans                 // by what the design storm asks; the one asked for last comes last
	facts map[uuid.UUID]*readiness.Plan // of plans chosen before
}

func newFleetBook() *fleetBook {
	b := &fleetBook{turn: make(chan struct{}, 1)}
	b.forget()
	return b
}

func (b *fleetBook) forget() {
	*b = fleetBook{
		turn: b.turn, parts: map[string]part{}, figures: map[string]part{}, wears: map[string][]planner.PhaseWear{},
		wearOf: map[uuid.UUID][]planner.PhaseWear{}, facts: map[uuid.UUID]*readiness.Plan{},
	}
}

// mostStormsKept is for how many design storms the plans are kept: the policy's, and that of a time before it was changed.
const mostStormsKept = 2

// plansFor gives the plans that answer for a design storm.
func (b *fleetBook) plansFor(windKt, hsM float64) *fleetPlans {
	i := slices.IndexFunc(b.plans, func(p *fleetPlans) bool { return p.windKt == windKt && p.hsM == hsM })
	if i < 0 {
		b.plans = append(b.plans, newFleetPlans(windKt, hsM))
		i = len(b.plans) - 1
	}
	p := b.plans[i]
	b.plans = append(slices.Delete(b.plans, i, i+1), p)
	if len(b.plans) > mostStormsKept {
		b.plans = slices.Delete(b.plans, 0, 1)
	}
	return p
}

// size is how many versions and plans it holds.
func (b *fleetBook) size() int {
	plans := 0
	for _, p := range b.plans {
		plans += p.size()
	}
	return plans + b.vessels.size + b.gear.size + b.inspections.size + b.drills.size + b.incidents.size + b.deployments.size + b.retrievals.size
}

// fleetKinds are the kinds of which the rules look at all there is.
var fleetKinds = []fleet.Kind{
	fleet.KindVessel, fleet.KindGear, fleet.KindInspection, fleet.KindDrill, fleet.KindIncident, fleet.KindDeployment, fleet.KindRetrieval,
}

const (
	// A body is read where the gist says that something is too long for it.
	selectFleetBook = `
SELECT seq, kind, id, valid_from, recorded_at, vessel_id, under, happened_at, gist, body_sha256,
    CASE WHEN gist LIKE '%|?' THEN body END
FROM records
WHERE org_id = @org AND seq >= @from AND kind = ANY(@kinds)
ORDER BY seq`
	selectFleetWear = `
SELECT plan_id, wear
FROM foreseen
WHERE org_id = @org AND plan_id = ANY(@plans)`
)

// catchUp adds what was recorded since. The first row is the last one there is, and tells by its hash whether it is the
// same history: if not, the database was put back, which is errAnotherHistory.
func (b *fleetBook) catchUp(ctx context.Context, tx pgx.Tx, org service.OrgID) error {
	if err := b.readFrom(ctx, tx, org); err != nil || len(b.wanted) == 0 {
		return err
	}
	// It was recorded with the first deployment by the plan, and never is later.
	err := eachRow(ctx, tx, selectFleetWear, pgx.NamedArgs{"org": org, "plans": b.wanted}, b.takeWear)
	if err == nil {
		b.wanted = nil
	}
	return err
}

var errAnotherHistory = errors.New("the book is not the one that was read")

func (b *fleetBook) readFrom(ctx context.Context, tx pgx.Tx, org service.OrgID) error {
	known := b.upTo == 0
	take := func(rows pgx.Rows) error {
		var row bookRow
		if err := row.scan(rows); err != nil {
			return err
		}
		if !known {
			if known = row.seq == b.upTo && row.sha256 == b.upToIs; !known {
				return errAnotherHistory
			}
			return nil
		}
		if err := b.add(&row); err != nil {
			return fmt.Errorf("gist of %s %s: %q: %w", row.kind, row.id, row.gist, err)
		}
		b.upTo, b.upToIs = row.seq, row.sha256
		return nil
	}
	err := eachRow(ctx, tx, selectFleetBook, pgx.NamedArgs{"org": org, "from": b.upTo, "kinds": fleetKinds}, take)
	if err == nil && !known {
		err = errAnotherHistory
	}
	return err
}

// things are the things of a kind, in the order they were first recorded, and their places by their ids.
type things[T any] struct {
	list  []thing[T]
	place map[uuid.UUID]int
	byID  []int // places in the order of ids
	size  int   // versions
}

// thing is one with all its versions, in the order they were recorded.
type thing[T any] struct {
	id       uuid.UUID
	versions []version[T]
}

// version is what the rules look at in a version. Times are in µs, as they are kept.
type version[T any] struct {
	from, known int64
	is          T
}

// moment is a question in two times, in µs.
type moment struct{ valid, known int64 }

func momentOf(at service.AsOf) moment { return moment{at.ValidAt.UnixMicro(), at.KnownAt.UnixMicro()} }

// inForce gives the version in force, as service.AsOf says; nil: none was.
func (t *thing[T]) inForce(at moment) (v *version[T]) {
	for i := range t.versions {
		next := &t.versions[i]
		if next.from <= at.valid && next.known <= at.known && (v == nil || next.from >= v.from) {
			v = next
		}
	}
	return v
}

func (l *things[T]) add(row *bookRow, is T) {
	at, there := l.place[row.id]
	if !there {
		if l.place == nil {
			l.place = map[uuid.UUID]int{}
		}
		at = len(l.list)
		l.list, l.place[row.id] = append(l.list, thing[T]{id: row.id}), at
		by, _ := slices.BinarySearchFunc(l.byID, row.id, func(i int, id uuid.UUID) int { return compareIDs(l.list[i].id, id) })
		l.byID = slices.Insert(l.byID, by, at)
	}
	t := &l.list[at]
	t.versions = append(t.versions, version[T]{row.from, row.known, is})
	l.size++
}

// find gives the place of a thing; -1: there is none.
func (l *things[T]) find(id uuid.UUID) int {
	if at, there := l.place[id]; there {
		return at
	}
	return -1
}

func compareIDs(a, b uuid.UUID) int { return bytes.Compare(a[:], b[:]) }

// fleetBooks keeps the books asked for last. The zero value is ready; nil keeps none.
type fleetBooks struct {
	mu   sync.Mutex
	kept []keptBook // the one asked for last comes last
}

type keptBook struct {
	org  service.OrgID
	book *fleetBook
	size int
}

// mostVersionsKept bounds what all books kept hold together, some 40 MB.
const mostVersionsKept = 300_000

// read has an organisation's book read. Nobody else reads it meanwhile.
func (k *fleetBooks) read(ctx context.Context, org service.OrgID, read func(*fleetBook) error) error {
	b := k.of(org)
	select {
	case b.turn <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-b.turn }()
	defer k.weigh(b)
	err := read(b)
	if errors.Is(err, errAnotherHistory) { // all is read anew
		b.forget()
		err = read(b)
	}
	return err
}

func (k *fleetBooks) of(org service.OrgID) *fleetBook {
	if k == nil {
		return newFleetBook()
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	i := slices.IndexFunc(k.kept, func(b keptBook) bool { return b.org == org })
	if i < 0 {
		k.kept = append(k.kept, keptBook{org: org, book: newFleetBook()})
		i = len(k.kept) - 1
	}
	b := k.kept[i]
	k.kept = append(slices.Delete(k.kept, i, i+1), b)
	return b.book
}

// weigh notes how large a book has become, and lets go of those not asked for longest while all are too large together.
func (k *fleetBooks) weigh(b *fleetBook) {
	if k == nil {
		return
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	all := 0
	for i := range k.kept {
		if k.kept[i].book == b {
			k.kept[i].size = b.size()
		}
		all += k.kept[i].size
	}
	for len(k.kept) > 0 && all > mostVersionsKept {
		all -= k.kept[0].size
		k.kept = slices.Delete(k.kept, 0, 1)
	}
}
