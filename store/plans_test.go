package store_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/planner"
	"rideout/store"
	"rideout/store/storetest"
)

func TestPagesAreCompleteBothWays(t *testing.T) {
	t.Parallel()
	s := storetest.New(t)
	us, them := anOrg(t, s), anOrg(t, s)
	kept := manyPlans(23)
	keep(t, s, us, kept...)
	keep(t, s, them, manyPlans(5)...)

	day := 24 * time.Hour
	for name, filter := range map[string]service.PlanFilter{
		"all":            {},
		"vessel":         {VesselName: "Tern of Hamna"},
		"intent":         {Intent: planner.Drill},
		"input":          {InputSHA256: strings.Repeat("1", 64)},
		"from":           {CreatedFrom: noon.Add(day)},
		"before":         {CreatedBefore: noon.Add(day)},
		"one day":        {CreatedFrom: noon.Add(day), CreatedBefore: noon.Add(2 * day)},
		"several":        {VesselName: "Tern of Hamna", Intent: planner.Drill, CreatedFrom: noon.Add(day)},
		"nothing so":     {VesselName: "Nobody's"},
		"quotes in name": {VesselName: "' OR true --"},
	} {
		want := matching(kept, filter)
		for _, limit := range []int{1, 2, 5, 22, 23, 24, 200} {
			if got := walk(t, s, us, filter, limit); !reflect.DeepEqual(got, want) {
				t.Errorf("%s, %d a page: got %v, want %v", name, limit, ids(got), ids(want))
			}
		}
	}
	if _, err := s.Plans(t.Context(), us, service.PlanFilter{}, service.Place{}, 0); err == nil {
		t.Error("limit 0: got no error")
	}
}

// What is read in one round trip is what Plan reads, and behind the same wall: the setting ends with its pipeline, and the
// next one on the connection has its own.
func TestAnswerAlone(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s, err := store.Open(t.Context(), store.Config{URL: url, MaxConns: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	us, them := anOrg(t, s), anOrg(t, s)
	ours, theirs := aPlan(), aPlan()
	keep(t, s, us, ours)
	keep(t, s, them, theirs)
	for _, c := range []struct {
		org  service.OrgID
		plan service.PlanRecord
		want error
	}{
		{us, ours, nil},
		{them, ours, service.ErrNotFound},
		{us, theirs, service.ErrNotFound},
		{them, theirs, nil},
		{us, aPlan(), service.ErrNotFound},
		{uuid.New(), ours, service.ErrNotFound},
	} {
		answer, err := s.PlanAnswer(t.Context(), c.org, c.plan.ID)
		sum, sumErr := s.PlanSHA256(t.Context(), c.org, c.plan.ID)
		if !errors.Is(err, c.want) || !errors.Is(sumErr, c.want) {
			t.Fatalf("got %v and %v, want %v", err, sumErr, c.want)
		}
		if want := sha256.Sum256(c.plan.Answer); c.want == nil && (!bytes.Equal(answer, c.plan.Answer) || sum != hex.EncodeToString(want[:])) {
			t.Errorf("answer %q with hash %s, want %q", answer, sum, c.plan.Answer)
		}
	}
	lent := s.Lent(service.Holder{Org: us})
	if answer, err := lent.PlanAnswer(t.Context(), us, ours.ID); err == nil {
		t.Errorf("a vessel that is lent shows %q", answer)
	}
	breakSessions(t, url) // the pool does not know yet
	if _, err := s.PlanAnswer(t.Context(), us, ours.ID); err != nil {
		t.Error(err)
	}
	gone, leave := context.WithCancel(t.Context())
	leave()
	if _, err := s.PlanSHA256(gone, us, ours.ID); !errors.Is(err, context.Canceled) || errors.Is(err, service.ErrUnavailable) {
		t.Errorf("got %v, want %v alone", err, context.Canceled)
	}
}

// walk reads every page forward, and on the way back compares each with what was read before.
func walk(t *testing.T, s *store.Store, org service.OrgID, filter service.PlanFilter, limit int) (all []service.PlanSummary) {
	t.Helper()
	read := func(from service.Place) service.PlanPage {
		page, err := s.Plans(t.Context(), org, filter, from, limit)
		if err != nil {
			t.Fatal(err)
		}
		return page
	}
	pages := []service.PlanPage{read(service.Place{})}
	for pages[len(pages)-1].Next != nil {
		pages = append(pages, read(*pages[len(pages)-1].Next))
	}
	for i, page := range pages {
		all = append(all, page.Items...)
		if (page.Prev == nil) != (i == 0) {
			t.Errorf("page %d of %d: got Prev %v", i, len(pages), page.Prev)
		}
		if page.Prev == nil {
			continue
		}
		if back := read(*page.Prev); !reflect.DeepEqual(back, pages[i-1]) {
			t.Errorf("back from page %d: got %+v, want %+v", i, back, pages[i-1])
		}
	}
	return all
}

// manyPlans makes plans on three instants a day apart, in an order that is not theirs.
func manyPlans(n int) []service.PlanRecord {
	random := rand.New(rand.NewPCG(1, uint64(n)))
	plans := make([]service.PlanRecord, n)
	for i := range plans {
		p := aPlan()
		p.CreatedAt = noon.Add(time.Duration(random.IntN(3)) * 24 * time.Hour)
		p.VesselName = []string{"Kestrel of Hamna", "Tern of Hamna"}[random.IntN(2)]
		p.Intent = []planner.Intent{planner.RideOutStorm, planner.Drill}[random.IntN(2)]
		p.InputSHA256 = strings.Repeat([]string{"0", "1"}[random.IntN(2)], 64)
		plans[i] = p
	}
	return plans
}

// matching is the list a filter leaves, newest first, as one who has all in memory would make it.
func matching(plans []service.PlanRecord, f service.PlanFilter) (list []service.PlanSummary) {
	for _, p := range plans {
		if (f.VesselName == "" || f.VesselName == p.VesselName) && (f.Intent == "" || f.Intent == p.Intent) &&
			(f.InputSHA256 == "" || f.InputSHA256 == p.InputSHA256) && !p.CreatedAt.Before(f.CreatedFrom) &&
			(f.CreatedBefore.IsZero() || p.CreatedAt.Before(f.CreatedBefore)) {
			list = append(list, service.PlanSummary{
				ID: p.ID, CreatedAt: p.CreatedAt, VesselName: p.VesselName, Intent: p.Intent, Engine: p.Engine,
				InputSHA256: p.InputSHA256, PeakN: p.PeakN, PayOutM: p.PayOutM,
			})
		}
	}
	slices.SortFunc(list, func(a, b service.PlanSummary) int {
		if c := b.CreatedAt.Compare(a.CreatedAt); c != 0 {
			return c
		}
		return bytes.Compare(b.ID[:], a.ID[:])
	})
	return list
}

func ids(plans []service.PlanSummary) (ids []uuid.UUID) {
	for _, p := range plans {
		ids = append(ids, p.ID)
	}
	return ids
}
