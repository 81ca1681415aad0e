package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"rideout/service/fleet"
	"rideout/service/readiness"
)

// Readiness judges a vessel as of two times, and for a window if one is given. It returns the times too.
func (r *Registers) Readiness(ctx context.Context, org OrgID, id uuid.UUID, at AsOf, w *readiness.Window) (report readiness.Report, _ AsOf, err error) {
	at = r.asked(at)
	err = r.History.View(ctx, org, at.KnownAt, func(ctx context.Context, reader Reader) error {
		if at, err = r.settle(ctx, reader, at); err != nil {
			return err
		}
		if err := checkWindow(w, at); err != nil {
			return err
		}
		vessel, err := reader.InForce(ctx, fleet.KindVessel, id, at)
		if err != nil {
			return err
		}
		reports, err := judged(ctx, reader, org, []Version{vessel}, at, w)
		if err == nil {
			report = reports[0]
		}
		return err
	})
	return report, at, sortedFor(fleet.KindVessel, err)
}

func checkWindow(w *readiness.Window, at AsOf) error {
	switch {
	case w == nil:
	case !w.To.After(w.From):
		return &ParameterError{Name: "to", Message: "does not lie after from", Fix: "send the end of the window"}
	case w.To.Before(at.ValidAt):
		return &ParameterError{Name: "to", Message: "lies before valid_at, so nothing can fall due", Fix: "send a window that ends later, or an earlier valid_at"}
	}
	return nil
}

// BoardQuery asks for a page of the fleet's readiness, newest vessel first.
type BoardQuery struct {
	Verdict readiness.Verdict // only these; empty: all
	Rule    string            // only those with a finding of this rule; empty: all
	Text    string            // only those whose name or findings hold it, in whatever case; empty: all
	Days    int               // judge, too, what falls due in so many days; 0: no
	AsOf    AsOf
	From    RecordPlace
	Limit   int
}

// narrow tells whether the query leaves vessels out.
func (q BoardQuery) narrow() bool { return q.Verdict != "" || q.Rule != "" || q.Text != "" }

// takes tells whether a report belongs to what is asked for.
func (q BoardQuery) takes(r readiness.Report) bool {
	return (q.Verdict == "" || r.Verdict == q.Verdict) && (q.Rule == "" || r.Breaks(q.Rule)) && (q.Text == "" || r.Holds(q.Text))
}

// window is the days asked about, from the instant asked about; nil: none.
func (q BoardQuery) window() *readiness.Window {
	if q.Days <= 0 {
		return nil
	}
	return &readiness.Window{From: q.AsOf.ValidAt, To: q.AsOf.ValidAt.AddDate(0, 0, q.Days)}
}

// BoardPage is one page of the board; Next and Prev are nil at the ends.
type BoardPage struct {
	Items      []readiness.Report
	Next, Prev *RecordPlace
}

// vesselsForPage is how many vessels are judged at most for one page: a verdict is known only once a vessel is judged, so
// a page of a rare one may hold fewer than its limit, or none, and go on after it.
const vesselsForPage = 200

// Board judges the fleet as of two times, page by page.
func (r *Registers) Board(ctx context.Context, org OrgID, q BoardQuery) (page BoardPage, _ AsOf, err error) {
	q.AsOf = r.asked(q.AsOf)
	err = r.History.View(ctx, org, q.AsOf.KnownAt, func(ctx context.Context, reader Reader) error {
		if q.AsOf, err = r.settle(ctx, reader, q.AsOf); err != nil {
			return err
		}
		page, err = board(ctx, reader, org, q)
		return err
	})
	return page, q.AsOf, sortedFor(fleet.KindVessel, err)
}

// board walks the vessels away from the place asked from until the page is full, or as many were judged as may be.
func board(ctx context.Context, reader Reader, org OrgID, q BoardQuery) (BoardPage, error) {
	walk := RecordQuery{Kind: fleet.KindVessel, AsOf: q.AsOf, From: q.From, Limit: vesselsForPage}
	if !q.narrow() {
		walk.Limit = q.Limit
	}
	vessels, err := reader.Records(ctx, walk)
	if err != nil {
		return BoardPage{}, err
	}
	reports, err := judged(ctx, reader, org, vessels.Items, q.AsOf, q.window())
	if err != nil {
		return BoardPage{}, err
	}
	more := vessels.Next != nil
	if q.From.Backward { // nearest to the place first
		slices.Reverse(reports)
		more = vessels.Prev != nil
	}
	items, last := []readiness.Report{}, q.From.ID
	for _, report := range reports {
		if len(items) == q.Limit {
			more = true
			break
		}
		last = report.ID
		if q.takes(report) {
			items = append(items, report)
		}
	}
	return boardPage(items, q.From, last, more), nil
}

// boardPage names the places on either side: where the walk ended, if there is more, and where it began.
func boardPage(items []readiness.Report, from RecordPlace, last uuid.UUID, more bool) BoardPage {
	page := BoardPage{Items: items}
	began := last // of a page without items: the place asked from lies on the way back
	if len(items) > 0 {
		began = items[0].ID
	}
	onward := &RecordPlace{ID: last, Backward: from.Backward}
	if !more || last == uuid.Nil {
		onward = nil
	}
	var back *RecordPlace
	if from.ID != uuid.Nil {
		back = &RecordPlace{ID: began, Backward: !from.Backward}
	}
	page.Next, page.Prev = onward, back
	if from.Backward {
		slices.Reverse(page.Items)
		page.Next, page.Prev = back, onward
	}
	return page
}

// Fleet judges the whole fleet as of two times, in figures and each vessel in a word.
func (r *Registers) Fleet(ctx context.Context, org OrgID, at AsOf) (summary readiness.Summary, _ AsOf, err error) {
	at = r.asked(at)
	err = r.History.View(ctx, org, at.KnownAt, func(ctx context.Context, reader Reader) error {
		if at, err = r.settle(ctx, reader, at); err != nil {
			return err
		}
		states, policy, err := wholeFleet(ctx, reader, org, at)
		if err != nil {
			return err
		}
		summary = readiness.Summarise(states, policy, readiness.As(at))
		return nil
	})
	return summary, at, sortedFor(fleet.KindVessel, err)
}

// wholeFleet reads what is recorded of all vessels and the policy in force, in the one way there is. The states are good until
// the view ends.
func wholeFleet(ctx context.Context, reader Reader, org OrgID, at AsOf) ([]readiness.State, fleet.Policy, error) {
	policy, err := policyAt(ctx, reader, org, at)
	if err != nil {
		return nil, policy, err
	}
	states, err := reader.FleetStates(ctx, at, policy.DesignStorm)
	return states, policy, err
}

// judged judges vessels by the policy in force.
func judged(ctx context.Context, reader Reader, org OrgID, vessels []Version, at AsOf, w *readiness.Window) ([]readiness.Report, error) {
	policy, err := policyAt(ctx, reader, org, at)
	if err != nil {
		return nil, err
	}
	states, err := reader.States(ctx, vessels, at, policy.DesignStorm)
	if err != nil {
		return nil, err
	}
	reports := make([]readiness.Report, len(states))
	for i, s := range states {
		reports[i] = readiness.Judge(s, policy, readiness.As(at), w)
	}
	return reports, nil
}

// policyAt reads the policy in force; what it leaves out has its default.
func policyAt(ctx context.Context, reader Reader, org OrgID, at AsOf) (fleet.Policy, error) {
	policy := fleet.DefaultPolicy()
	v, err := reader.InForce(ctx, fleet.KindPolicy, org, at)
	if errors.Is(err, ErrNotFound) {
		return policy, nil
	}
	if err != nil {
		return policy, err
	}
	if err := json.Unmarshal(v.Body, &policy); err != nil {
		return policy, fmt.Errorf("read policy: %w", err)
	}
	return policy, nil
}
