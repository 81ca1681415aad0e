package service

import (
	"cmp"
	"context"
	"slices"
	"strings"

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
	Partial   bool           // there are more vessels than were counted
}

// Due is something that falls due on a vessel in the days asked about.
type Due struct {
	Report  readiness.Report
	Finding readiness.Finding // with its Due
}

// mostTallied is how many vessels are counted at most: two thousand are judged in a tenth of a second.
const mostTallied = 2000

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
	walk := RecordQuery{Kind: fleet.KindVessel, AsOf: q.AsOf, Limit: vesselsForPage}
	for {
		vessels, err := reader.Records(ctx, walk)
		if err != nil {
			return t, err
		}
		reports, err := judged(ctx, reader, org, vessels.Items, q.AsOf, q.window())
		if err != nil {
			return t, err
		}
		for _, report := range reports {
			t.count(report)
		}
		t.Partial = vessels.Next != nil && t.Vessels >= mostTallied
		if vessels.Next == nil || t.Partial {
			break
		}
		walk.From = *vessels.Next
	}
	slices.SortStableFunc(t.Due, func(a, b Due) int {
		return cmp.Or(a.Finding.Due.Compare(*b.Finding.Due), strings.Compare(a.Report.VesselName, b.Report.VesselName))
	})
	return t, nil
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
			t.Due = append(t.Due, Due{r, f})
		}
	}
}
