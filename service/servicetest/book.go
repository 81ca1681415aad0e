package servicetest

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/ledger"
)

// book is one organisation's.
type book struct {
	turn     sync.Mutex // held from a turn to the end of its transaction
	seq      int64
	until    time.Time
	versions []service.Version // in the order they were recorded
	texts    map[string]service.PersonalText
	events   []service.Event
	entries  []ledger.Entry
	bodies   [][]byte // of the entries
	hashes   []ledger.Hash
	signed   *ledger.Checkpoint // the last; nil: none
	watchers map[chan struct{}]bool
	hooks    map[uuid.UUID]*hook
	keys     []hashedKey
	ended    []uuid.UUID // sessions
}

func (h *History) bookOf(org service.OrgID) *book {
	if h.books == nil {
		h.books = map[service.OrgID]*book{}
	}
	if h.books[org] == nil {
		h.books[org] = &book{until: time.Unix(0, 0).UTC()}
	}
	return h.books[org]
}

// View reads as of a time of knowledge.
func (h *History) View(ctx context.Context, org service.OrgID, knownAt time.Time, read func(context.Context, service.Reader) error) error {
	h.mu.Lock()
	b := h.bookOf(org)
	if knownAt.After(b.until) {
		b.until = knownAt
	}
	err := h.Err
	h.mu.Unlock()
	if err != nil {
		return err
	}
	return read(ctx, &recorder{h: h, org: org})
}

// Change records in one transaction.
func (h *History) Change(ctx context.Context, org service.OrgID, work func(context.Context, service.Recorder) error) error {
	r := &recorder{h: h, org: org}
	defer r.end()
	if err := work(ctx, r); err != nil {
		return err
	}
	return h.commit(r)
}

// commit makes what transactions recorded seen, all at once.
func (h *History) commit(recorders ...*recorder) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if err := cmp.Or(h.Err, h.CommitErr); err != nil {
		return err
	}
	for _, r := range recorders {
		b := h.bookOf(r.org)
		if r.stamp.Seq > b.seq {
			b.seq, b.until = r.stamp.Seq, r.stamp.RecordedAt
		}
		b.versions = append(b.versions, r.versions...)
		b.keep(r.hooks)
		for _, change := range r.keyChanges {
			b.keys = change(b.keys)
		}
		b.keepTexts(r)
		b.tell(r)
		for _, p := range r.plans {
			h.plans = append(h.plans, ownedPlan{r.org, p})
		}
		h.jobs = append(h.jobs, r.jobs...)
		h.forecasts = append(h.forecasts, r.forecasts...)
		for _, write := range r.replans {
			write()
		}
	}
	return nil
}

// recorder is one transaction. What it records is seen when it ends well.
type recorder struct {
	h        *History
	org      service.OrgID
	holds    bool
	stamp    service.Stamp
	versions []service.Version
	plans    []service.PlanRecord
	texts    map[string]service.PersonalText
	jobs     []service.Job
	hooks    []hook

	forecasts  []ownedForecast
	replans    []func()
	keyChanges []func([]hashedKey) []hashedKey
}

func (r *recorder) end() {
	if r.holds {
		r.book().turn.Unlock()
	}
}

// hold takes the turn and keeps it to the end.
func (r *recorder) hold() {
	if b := r.book(); !r.holds {
		b.turn.Lock()
		r.holds = true
		r.stamp = service.Stamp{Seq: b.seq, RecordedAt: b.until}
	}
}

func (r *recorder) book() *book {
	r.h.mu.Lock()
	defer r.h.mu.Unlock()
	return r.h.bookOf(r.org)
}

// all gives what is recorded of a kind.
func (r *recorder) all(kind fleet.Kind) (versions []service.Version) {
	r.h.mu.Lock()
	defer r.h.mu.Unlock()
	for _, v := range r.h.bookOf(r.org).versions {
		if v.Kind == kind {
			versions = append(versions, v)
		}
	}
	return versions
}

func (r *recorder) KnownUntil(context.Context) (time.Time, error) {
	r.h.mu.Lock()
	defer r.h.mu.Unlock()
	return r.h.bookOf(r.org).until, nil
}

func (r *recorder) InForce(_ context.Context, kind fleet.Kind, id uuid.UUID, at service.AsOf) (service.Version, error) {
	v, ok := inForce(r.all(kind), id, at)
	if !ok {
		return service.Version{}, service.ErrNotFound
	}
	return v, nil
}

// inForce picks, of the versions known, the one that holds last from a time not after the one asked for.
func inForce(versions []service.Version, id uuid.UUID, at service.AsOf) (best service.Version, found bool) {
	for _, v := range versions {
		if v.ID == id && !v.RecordedAt.After(at.KnownAt) && !v.ValidFrom.After(at.ValidAt) && (!found || !v.ValidFrom.Before(best.ValidFrom)) {
			best, found = v, true
		}
	}
	return best, found
}

func (r *recorder) Exists(ctx context.Context, kind fleet.Kind, id uuid.UUID) (bool, error) {
	if kind == fleet.KindPlan {
		_, err := r.PlanHead(ctx, id)
		return err == nil, nil
	}
	return slices.ContainsFunc(r.all(kind), func(v service.Version) bool { return v.ID == id }), nil
}

func (r *recorder) PlanHead(ctx context.Context, id uuid.UUID) (service.PlanHead, error) {
	p, err := r.h.Plan(ctx, r.org, id)
	return service.PlanHead{ID: p.ID, VesselID: p.VesselID, VesselName: p.VesselName}, err
}

func (r *recorder) Records(_ context.Context, q service.RecordQuery) (service.RecordPage, error) {
	versions := r.all(q.Kind)
	var list []service.Version
	seen := map[uuid.UUID]bool{}
	for _, v := range versions {
		if seen[v.ID] {
			continue
		}
		seen[v.ID] = true
		now, ok := inForce(versions, v.ID, q.AsOf)
		if ok && (q.VesselID == uuid.Nil || now.VesselID == q.VesselID) && (q.Under == uuid.Nil || now.Under == q.Under) {
			list = append(list, now)
		}
	}
	var page service.RecordPage
	page.Items, page.Next, page.Prev = pageByID(list, q.From, q.Limit, func(v service.Version) uuid.UUID { return v.ID })
	return page, nil
}

func (r *recorder) Turn(_ context.Context, clock func() time.Time) (service.Stamp, error) {
	r.hold()
	until, _ := r.KnownUntil(context.Background())
	if until.Before(r.stamp.RecordedAt) {
		until = r.stamp.RecordedAt
	}
	at := clock().UTC().Truncate(time.Microsecond)
	if !at.After(until) {
		at = until.Add(time.Microsecond)
	}
	r.stamp = service.Stamp{Seq: r.stamp.Seq + 1, RecordedAt: at}
	return r.stamp, nil
}

func (r *recorder) Base(_ context.Context, kind fleet.Kind, id uuid.UUID, validAt time.Time) (base service.Version, n int, err error) {
	versions := slices.DeleteFunc(r.all(kind), func(v service.Version) bool { return v.ID != id })
	if len(versions) == 0 {
		return base, 0, service.ErrNotFound
	}
	base, ok := inForce(versions, id, service.AsOf{ValidAt: validAt, KnownAt: r.stamp.RecordedAt})
	if !ok {
		for _, v := range versions {
			if base.Body == nil || !v.ValidFrom.After(base.ValidFrom) {
				base = v
			}
		}
	}
	return base, len(versions), nil
}

func (r *recorder) Record(_ context.Context, v service.Version) error {
	if !r.holds {
		return errors.New("a change was recorded without a turn")
	}
	r.versions = append(r.versions, v)
	return nil
}

func (r *recorder) RecordPlan(_ context.Context, p service.PlanRecord) error {
	r.plans = append(r.plans, p)
	return nil
}

func (r *recorder) Later(_ context.Context, jobs ...service.Job) error {
	for _, j := range jobs {
		j.Org = r.org
		r.jobs = append(r.jobs, j)
	}
	return nil
}
