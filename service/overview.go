package service

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
	"rideout/service/readiness"
)

// Overview is a page of the board with a tally of the whole fleet beside it, both as of the same times.
type Overview struct {
	BoardPage
	Tally Tally
}

// Tally is the fleet in figures. It counts vessels whatever the board is narrowed to.
type Tally struct {
	Vessels   int
	ByVerdict map[readiness.Verdict]int
	ByRule    map[string]int // vessels with a finding of the rule
	Due       []Due          // soonest first
}

// Due is something that falls due on a vessel in the days asked about.
type Due struct {
	VesselID   uuid.UUID
	VesselName string
	Code       string // the rule's
	On         time.Time
	Href       string // the record it rests on
	Text       string // of the DueTold vessels with the soonest; else empty
}

// DueTold is of how many vessels what falls due is put into words. A whole fleet is read without what only words need.
const DueTold = 12

// Overview judges a page of the fleet and counts all of it.
func (r *Registers) Overview(ctx context.Context, org OrgID, q BoardQuery) (o Overview, _ AsOf, err error) {
	q.AsOf = r.asked(q.AsOf)
	err = r.History.View(ctx, org, q.AsOf.KnownAt, func(ctx context.Context, reader Reader) error {
		if q.AsOf, err = r.settle(ctx, reader, q.AsOf); err != nil {
			return err
		}
		if o.BoardPage, err = board(ctx, reader, org, q); err != nil {
			return err
		}
		o.Tally, err = tally(ctx, reader, org, q)
		return err
	})
	return o, q.AsOf, sortedFor(fleet.KindVessel, err)
}

func tally(ctx context.Context, reader Reader, org OrgID, q BoardQuery) (Tally, error) {
	t := Tally{ByVerdict: map[readiness.Verdict]int{}, ByRule: map[string]int{}}
	states, policy, err := wholeFleet(ctx, reader, org, q.AsOf)
	if err != nil {
		return t, err
	}
	for _, report := range slices.Backward(readiness.JudgeAll(states, policy, readiness.As(q.AsOf), q.window())) { // newest first, as the board
		t.count(report)
	}
	slices.SortStableFunc(t.Due, func(a, b Due) int {
		return cmp.Or(a.On.Compare(b.On), strings.Compare(a.VesselName, b.VesselName))
	})
	return t, t.tell(ctx, reader, org, q)
}

func (t *Tally) count(r readiness.Report) {
	t.Vessels++
	t.ByVerdict[r.Verdict]++
	seen := map[string]bool{}
	for _, f := range r.Findings {
		if !seen[f.Code] {
			seen[f.Code] = true
			t.ByRule[f.Code]++
		}
	}
	if r.Window == nil {
		return
	}
	for _, f := range r.Window.Findings {
		if f.Due != nil {
			t.Due = append(t.Due, Due{VesselID: r.ID, VesselName: r.VesselName, Code: f.Code, On: *f.Due, Href: f.Evidence[0].Href})
		}
	}
}

// tell puts into words what falls due soonest.
func (t *Tally) tell(ctx context.Context, reader Reader, org OrgID, q BoardQuery) error {
	var vessels []Version
	read := map[uuid.UUID]bool{}
	for _, d := range t.Due {
		if read[d.VesselID] {
			continue
		}
		if len(vessels) == DueTold {
			break
		}
		vessel, err := reader.InForce(ctx, fleet.KindVessel, d.VesselID, q.AsOf)
		if err != nil {
			return err
		}
		vessels, read[d.VesselID] = append(vessels, vessel), true
	}
	if len(vessels) == 0 {
		return nil
	}
	reports, err := judged(ctx, reader, org, vessels, q.AsOf, q.window())
	if err != nil {
		return err
	}
	texts := map[string]string{}
	for _, r := range reports {
		for _, f := range r.Window.Findings {
			texts[f.Code+f.Evidence[0].Href] = f.Text
		}
	}
	for i, d := range t.Due {
		if read[d.VesselID] {
			t.Due[i].Text = texts[d.Code+d.Href]
		}
	}
	return nil
}
