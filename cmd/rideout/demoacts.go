package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"sort"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/fleet"
)

// demoAct is one thing recorded in the demo's past.
type demoAct struct {
	at   time.Time // of recording
	tell string    // while it is done; empty: it is done at once
	is   func(context.Context, *historian) (bool, error)
	do   func(context.Context, *historian) error
}

// historian does the acts with a clock of its own, which stands at the time of each: so what was known when is part of the
// demo. The store lets no time run backward, so the acts must be in order, and nothing of today before them.
type historian struct {
	org       service.OrgID
	registers *service.Registers
	plans     *service.Plans
	now       time.Time
	next      uuid.UUID // for what is recorded next
}

// newHistorian takes use cases whose clock and names it may set.
func newHistorian(org service.OrgID, registers *service.Registers, plans *service.Plans) *historian {
	h := &historian{org: org, registers: registers, plans: plans}
	registers.Clock, plans.Clock = h.clock, h.clock
	registers.NewID, plans.NewID = h.id, h.id
	return h
}

func (h *historian) clock() time.Time { return h.now }
func (h *historian) id() uuid.UUID    { return h.next }

// catchUp does the acts that are not there. They are done one after the other, so the first missing is found by halving.
func (h *historian) catchUp(ctx context.Context, acts []demoAct, progress func(string)) error {
	var failed error
	first := sort.Search(len(acts), func(i int) bool {
		is, err := acts[i].is(ctx, h)
		failed = errors.Join(failed, err)
		return !is
	})
	if failed != nil {
		return fmt.Errorf("look for what is there: %w", failed)
	}
	slow := 0
	for _, act := range acts[first:] {
		if act.tell != "" {
			slow++
		}
	}
	told := 0
	for _, act := range acts[first:] {
		if act.tell != "" {
			told++
			progress(fmt.Sprintf("writing the fleet's past, plan %d of %d: %s, %s", told, slow, act.at.Format("2 January 2006"), act.tell))
		}
		h.now = act.at
		if err := act.do(ctx, h); err != nil {
			return fmt.Errorf("demo of %s: %w", act.at.Format(time.RFC3339), err)
		}
	}
	return nil
}

// idAt gives a name a time-ordered id (RFC 9562, version 7), the same in every demo.
func idAt(at time.Time, name string) (id uuid.UUID) {
	sum := sha256.Sum256([]byte("rideout demo: " + name))
	copy(id[:], sum[:])
	var ms [8]byte
	binary.BigEndian.PutUint64(ms[:], uint64(at.UnixMilli()))
	copy(id[:6], ms[2:])
	id[6], id[8] = id[6]&0x0f|0x70, id[8]&0x3f|0x80
	return id
}

// always is later than anything that holds in the demo.
var always = time.Date(2199, 1, 1, 0, 0, 0, 0, time.UTC)

// versions gives the newest version of a thing; 0: there is none.
func (h *historian) versions(ctx context.Context, kind fleet.Kind, id uuid.UUID) (int, error) {
	v, _, err := h.registers.Read(ctx, h.org, kind, id, service.AsOf{ValidAt: always})
	if isNotFound(err) {
		return 0, nil
	}
	return v.Version, err
}

func isNotFound(err error) bool {
	var known *service.Error
	return errors.As(err, &known) && known.Kind == service.KindNotFound
}

func hasVersion(kind fleet.Kind, id uuid.UUID, n int) func(context.Context, *historian) (bool, error) {
	return func(ctx context.Context, h *historian) (bool, error) {
		got, err := h.versions(ctx, kind, id)
		return got >= n, err
	}
}

// addRecord adds a thing that belongs to nothing, or is sent for a vessel.
func addRecord(at time.Time, by string, kind fleet.Kind, id, within uuid.UUID, e fleet.Entity) demoAct {
	return addDraft(at, id, service.Draft{Kind: kind, Within: within, By: by, Entity: e})
}

// addUnder adds a thing that belongs to another.
func addUnder(at time.Time, by string, kind fleet.Kind, id, under uuid.UUID, e fleet.Entity) demoAct {
	return addDraft(at, id, service.Draft{Kind: kind, Under: under, By: by, Entity: e})
}

func addDraft(at time.Time, id uuid.UUID, d service.Draft) demoAct {
	return demoAct{at: at, is: hasVersion(d.Kind, id, 1), do: func(ctx context.Context, h *historian) error {
		return h.add(ctx, id, d)
	}}
}

// add checks and adds.
func (h *historian) add(ctx context.Context, id uuid.UUID, d service.Draft) error {
	d.Entity.Settle()
	if err := checked(d.Entity, h.now); err != nil {
		return fmt.Errorf("%s: %w", d.Kind, err)
	}
	attributes, err := json.Marshal(d.Entity)
	if err != nil {
		return err
	}
	h.next = id
	_, _, err = h.registers.Add(ctx, h.org, claimOf(id, attributes), d)
	return err
}

func claimOf(id uuid.UUID, body []byte) service.Claim {
	sum := sha256.Sum256(body)
	return service.Claim{Key: "demo " + id.String(), Route: "demo", RequestSHA256: hex.EncodeToString(sum[:])}
}

func checked(e fleet.Entity, now time.Time) error {
	if problems := e.Check(now); len(problems) > 0 {
		return fmt.Errorf("%s %s", problems[0].Pointer, problems[0].Message)
	}
	return nil
}

func putPolicy(at time.Time, p *fleet.Policy) demoAct {
	return demoAct{
		at: at,
		is: func(ctx context.Context, h *historian) (bool, error) {
			return hasVersion(fleet.KindPolicy, h.org, 1)(ctx, h)
		},
		do: func(ctx context.Context, h *historian) error {
			d := service.Draft{Kind: fleet.KindPolicy, By: "harbour office", Entity: p}
			_, _, err := h.registers.Put(ctx, h.org, d, h.org, service.Match{Any: true})
			return err
		},
	}
}

// changeRecord records the nth version of a thing.
func changeRecord(c historyChange, kind fleet.Kind, id uuid.UUID, n int) demoAct {
	return demoAct{at: c.Recorded, is: hasVersion(kind, id, n), do: func(ctx context.Context, h *historian) error {
		var merge any
		if err := json.Unmarshal(c.Patch, &merge); err != nil {
			return err
		}
		_, err := h.registers.Change(ctx, h.org, service.Patch{
			Kind: kind, ID: id, ValidFrom: c.From, By: "harbour office", Match: service.Match{Any: true}, Merge: merge,
			Decode: func(attributes []byte, now time.Time) (fleet.Entity, error) { return entityOf(kind, attributes, now) },
		})
		if err != nil {
			return fmt.Errorf("change %s: %w", c.Of, err)
		}
		return nil
	}}
}

// entityOf reads attributes, and refuses what is unknown or wrong.
func entityOf(kind fleet.Kind, attributes []byte, now time.Time) (fleet.Entity, error) {
	e := fleet.Describe(kind).New()
	strict := json.NewDecoder(bytes.NewReader(attributes))
	strict.DisallowUnknownFields()
	if err := strict.Decode(e); err != nil {
		return nil, err
	}
	e.Settle()
	return e, checked(e, now)
}

// withFields puts the fields of a refusal into the error: nobody but who wrote the history can mend them.
func withFields(err error) error {
	var known *service.Error
	if errors.As(err, &known) && len(known.Fields) > 0 {
		return fmt.Errorf("%w: %s %s", err, known.Fields[0].Pointer, known.Fields[0].Message)
	}
	return err
}
