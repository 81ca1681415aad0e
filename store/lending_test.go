package store_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/store"
	"rideout/store/storetest"
)

// registerWith registers a vessel with an MMSI.
func (f *aFleet) registerWith(mmsi string) uuid.UUID {
	f.t.Helper()
	id, _ := f.register("")
	if _, err := f.change(id, "", `{"mmsi": "`+mmsi+`"}`, service.Match{Any: true}); err != nil {
		f.t.Fatal(err)
	}
	return id
}

// planFor keeps a plan for a vessel.
func (f *aFleet) planFor(vessel uuid.UUID) service.PlanRecord {
	f.t.Helper()
	p := aPlan()
	p.VesselID = vessel
	keep(f.t, f.store, f.org, p)
	return p
}

// stepsBackTo counts the migrations from one on, by its name.
func stepsBackTo(t *testing.T, name string) int {
	t.Helper()
	ups := steps(t)
	at := slices.IndexFunc(ups, func(file string) bool { return strings.HasSuffix(file, "_"+name+".up.sql") })
	if at < 0 {
		t.Fatalf("no migration %s", name)
	}
	return len(ups) - at
}

// rescue is the use cases of emergency access with a clock that is set by hand.
type rescue struct {
	*service.Emergency
	mu  sync.Mutex
	now time.Time
}

func rescueOf(l service.Lender, s *store.Store) *rescue {
	r := &rescue{now: noon.Add(time.Hour)}
	r.Emergency = &service.Emergency{Lender: l, History: s, Clock: r.clock, NewID: uuid.New}
	return r
}

func (r *rescue) clock() time.Time {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.now
}

func (r *rescue) pass(d time.Duration) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.now = r.now.Add(d)
}

func (r *rescue) open(t *testing.T, org service.OrgID, mmsi string) (a service.EmergencyAccess, err error) {
	t.Helper()
	answer, _, err := r.Open(t.Context(), org, aClaim(uuid.NewString()), service.Ask{MMSI: mmsi, Reason: "EPIRB 231000001 heard", For: 2 * time.Hour, By: "ro_rescue"})
	if err == nil {
		err = json.Unmarshal(answer.Body, &a)
	}
	return a, err
}

// kindsOf lists what an organisation's log holds, in order.
func kindsOf(t *testing.T, url string, org service.OrgID) []string {
	t.Helper()
	return ask(t, url, `SELECT concat_ws(' ', seq, kind, version) FROM changes WHERE org_id = $1 ORDER BY seq`, org)
}

func wantKind(t *testing.T, what string, err error, kind service.Kind) {
	t.Helper()
	var known *service.Error
	if !errors.As(err, &known) || known.Kind != kind {
		t.Errorf("%s: got %v, want %s", what, err, kind)
	}
}

func TestLentShowsOneVesselAlone(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	owner, stranger := newFleet(t, s), newFleet(t, s)
	fill(t, s, owner.org)
	fill(t, s, stranger.org)
	hers, another := owner.registerWith("231000001"), owner.registerWith("231000002")
	herPlan, anotherPlan := owner.planFor(hers), owner.planFor(another)
	h := service.Holder{Org: owner.org, Vessel: hers}
	lent := s.Lent(h)
	if p, err := lent.Plan(t.Context(), owner.org, herPlan.ID); err != nil || p.ID != herPlan.ID {
		t.Errorf("her plan: %v", err)
	}
	if _, err := lent.Plan(t.Context(), owner.org, anotherPlan.ID); !errors.Is(err, service.ErrNotFound) {
		t.Errorf("another vessel's plan: got %v, want %v", err, service.ErrNotFound)
	}
	if page, err := lent.Plans(t.Context(), owner.org, service.PlanFilter{}, service.Place{}, 50); err != nil || len(page.Items) != 1 || page.Items[0].ID != herPlan.ID {
		t.Errorf("plans: got %+v, error %v, want hers", page.Items, err)
	}
	registers := &service.Registers{History: lent, Clock: func() time.Time { return noon }, NewID: uuid.New}
	if v, _, err := registers.Read(t.Context(), owner.org, fleet.KindVessel, hers, service.AsOf{}); err != nil || v.ID != hers {
		t.Errorf("she: %v", err)
	}
	if _, _, err := registers.Read(t.Context(), owner.org, fleet.KindVessel, another, service.AsOf{}); !errors.Is(err, service.ErrNotFound) {
		t.Errorf("another vessel: got %v, want %v", err, service.ErrNotFound)
	}
	if page, _, err := registers.List(t.Context(), owner.org, service.RecordQuery{Kind: fleet.KindVessel, Limit: 50}); err != nil || len(page.Items) != 1 || page.Items[0].ID != hers {
		t.Errorf("vessels: got %d, error %v, want her alone", len(page.Items), err)
	}
	for what, err := range map[string]error{
		"a read of another organisation": func() error {
			_, err := lent.Plan(t.Context(), stranger.org, herPlan.ID)
			return err
		}(),
		"a change": lent.Change(t.Context(), owner.org, func(context.Context, service.Recorder) error { return nil }),
		"a claim": func() error {
			_, _, err := lent.Once(t.Context(), owner.org, aClaim("k"), recording(aPlan()))
			return err
		}(),
		"closing a time": lent.View(t.Context(), owner.org, noon.AddDate(1, 0, 0), func(context.Context, service.Reader) error { return nil }),
	} {
		if err == nil || errors.Is(err, service.ErrNotFound) {
			t.Errorf("%s: got %v, want it refused", what, err)
		}
	}

	// Of every table, whatever the statement says.
	for _, table := range ask(t, url, walled) {
		want := map[string]string{"records": "2", "plans": "1", "organisation_log": "1"}[table]
		if want == "" {
			want = "0"
		}
		err := s.InLent(t.Context(), h, func(tx pgx.Tx) error {
			var got string
			if err := tx.QueryRow(t.Context(), `SELECT count(*)::text FROM `+table).Scan(&got); err != nil || got != want {
				t.Errorf("%s: a lent vessel's transaction sees %s rows, error %v, want %s", table, got, err, want)
			}
			_, err := tx.Exec(t.Context(), `DELETE FROM `+table)
			return err
		})
		var said *pgconn.PgError
		if !errors.As(err, &said) {
			t.Errorf("%s: delete: got %v, want it refused", table, err)
		}
	}
	// And a transaction that may write writes nothing by what is lent.
	err := s.InOrg(t.Context(), stranger.org, func(tx pgx.Tx) error {
		if _, err := tx.Exec(t.Context(), `SELECT set_config('app.lent_org', $1, true), set_config('app.lent_vessel', $2, true)`, owner.org.String(), hers.String()); err != nil {
			return err
		}
		_, err := tx.Exec(t.Context(), `INSERT INTO records (org_id, kind, id, version, seq, valid_from, recorded_at, body, body_sha256, by) VALUES ($1, 'vessel', $2, 9, 1, now(), now(), '{}', repeat('0', 64), '')`, owner.org, hers)
		return err
	})
	var said *pgconn.PgError
	if !errors.As(err, &said) || said.Code != "42501" {
		t.Errorf("a version of a lent vessel: got %v, want it to meet row-level security", err)
	}
}

func TestHoldersAreOfTheMMSIAlone(t *testing.T) {
	t.Parallel()
	s := storetest.New(t)
	a, b := newFleet(t, s), newFleet(t, s)
	mine, theirs := a.registerWith("231000001"), b.registerWith("231000001")
	a.registerWith("231000002")
	if _, err := a.change(mine, "", `{"mmsi": "231000003"}`, service.Match{Any: true}); err != nil {
		t.Fatal(err)
	}
	for mmsi, want := range map[string][]uuid.UUID{"231000001": {mine, theirs}, "231000003": {mine}, "231000009": nil, "": nil, "%": nil} {
		holders, err := s.Holders(t.Context(), mmsi)
		var got []uuid.UUID
		for _, h := range holders {
			got = append(got, h.Vessel)
		}
		if err != nil || !slices.Equal(sortedIDs(got), sortedIDs(want)) {
			t.Errorf("%q: got %v, error %v, want %v", mmsi, got, err, want)
		}
	}
}

func sortedIDs(ids []uuid.UUID) []string {
	texts := []string{}
	for _, id := range ids {
		texts = append(texts, id.String())
	}
	slices.Sort(texts)
	return texts
}

func TestOnlyTheOneVesselIsOpened(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	asking, a, b := anOrg(t, s), newFleet(t, s), newFleet(t, s)
	r := rescueOf(s, s)
	mine := (&aFleet{t: t, store: s, org: asking, now: noon}).registerWith("231000007")

	sold, bought := a.registerWith("231000001"), b.registerWith("231000001")
	_, err := r.open(t, asking, "231000001")
	wantKind(t, "two vessels of one MMSI", err, service.KindNotFound)
	if _, err := b.change(bought, "", `{"call_sign": "RDTN"}`, service.Match{Any: true}); err != nil {
		t.Fatal(err)
	}
	for sign, want := range map[string]service.Kind{"RDTN": "", "RDXX": service.KindNotFound} {
		_, _, err := r.Open(t.Context(), asking, aClaim(sign), service.Ask{MMSI: "231000001", CallSign: sign, Reason: "red flares sighted", For: time.Hour})
		var known *service.Error
		if errors.As(err, &known); (err == nil) != (want == "") || known != nil && known.Kind != want {
			t.Errorf("by the call sign %s: got %v, want %q", sign, err, want)
		}
	}
	if _, err := a.change(sold, "", `{"status": "sold"}`, service.Match{Any: true}); err != nil {
		t.Fatal(err)
	}
	access, err := r.open(t, asking, "231000001")
	if err != nil || access.VesselID != bought || access.Owner.ID != b.org || access.VesselName != "Tern of Hamna" || access.Side != service.SideAsking {
		t.Fatalf("sold by the other: got %+v, error %v", access, err)
	}
	if _, err := b.change(bought, "", `{"mmsi": "231000004"}`, service.Match{Any: true}); err != nil {
		t.Fatal(err)
	}
	_, err = r.open(t, asking, "231000001")
	wantKind(t, "an MMSI she has no more", err, service.KindNotFound)
	_, err = r.open(t, asking, "231000009")
	wantKind(t, "nobody's MMSI", err, service.KindNotFound)
	_, err = r.open(t, asking, "231000007")
	wantKind(t, "their own vessel", err, service.KindNotReferable)
	if mine == uuid.Nil {
		t.Error("no vessel of their own")
	}
	want := []string{"1 vessel 1", "2 vessel 2", "3 emergency_search 1", "6 emergency_access 1", "7 emergency_search 1", "8 emergency_search 1"}
	if got := kindsOf(t, url, asking); !slices.Equal(slices.Delete(got, 3, 5), want) { // the two by call signs came in any order
		t.Errorf("the asking side's log: got %v, want %v", got, want)
	}
	if got, want := kindsOf(t, url, a.org), []string{"1 vessel 1", "2 vessel 2", "3 vessel 3"}; !slices.Equal(got, want) {
		t.Errorf("the log of who was asked in vain: got %v, want %v", got, want)
	}
}

func TestAccessIsOpenedOnceForAClaim(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	asking, owner := anOrg(t, s), newFleet(t, s)
	vessel := owner.registerWith("231000001")
	r := rescueOf(s, s)
	wanted := service.Ask{MMSI: "231000001", Reason: "red flares sighted", For: time.Hour, By: "ro_rescue"}
	first, repeated, err := r.Open(t.Context(), asking, aClaim("once"), wanted)
	if err != nil || repeated {
		t.Fatalf("first: repeated %v, error %v", repeated, err)
	}
	if _, err := owner.change(vessel, "", `{"status": "lost"}`, service.Match{Any: true}); err != nil {
		t.Fatal(err)
	}
	again, repeated, err := r.Open(t.Context(), asking, aClaim("once"), wanted)
	if err != nil || !repeated || string(again.Body) != string(first.Body) {
		t.Errorf("again, when she is lost: repeated %v, error %v, body %s", repeated, err, again.Body)
	}
	var all sync.WaitGroup
	owner.registerWith("231000002")
	for range 10 {
		all.Go(func() {
			_, _, err := r.Open(t.Context(), asking, aClaim("parallel"), service.Ask{MMSI: "231000002", Reason: "red flares sighted", For: time.Hour})
			var known *service.Error
			if err != nil && (!errors.As(err, &known) || known.Kind != service.KindInFlight) {
				t.Errorf("in parallel: %v", err)
			}
		})
	}
	all.Wait()
	if got := ask(t, url, `SELECT count(*) FROM records WHERE kind = 'emergency_access'`); got[0] != "4" {
		t.Errorf("got %s records of two accesses on two sides, want 4", got[0])
	}
}

// noted is a lender that looks, when the transaction of both sides is committed.
type noted struct {
	*store.Store
	after func()
	err   error
}

func (n *noted) Both(ctx context.Context, a, b service.OrgID, claim *service.Claim, work func(ctx context.Context, a, b service.Side) (service.Answer, error)) (service.Answer, bool, error) {
	answer, repeated, err := n.Store.Both(ctx, a, b, claim, func(ctx context.Context, a, b service.Side) (service.Answer, error) {
		answer, err := work(ctx, a, b)
		if err == nil {
			err = n.err
		}
		return answer, err
	})
	if err == nil && n.after != nil {
		n.after()
	}
	return answer, repeated, err
}

func TestBothSidesNoteAReadBeforeItsBodyLeaves(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	asking, owner := anOrg(t, s), newFleet(t, s)
	vessel := owner.registerWith("231000001")
	plan := owner.planFor(vessel)
	lender := &noted{Store: s}
	r := rescueOf(lender, s)
	access, err := r.open(t, asking, "231000001")
	if err != nil {
		t.Fatal(err)
	}
	read := func(org service.OrgID) ([]byte, error) {
		return r.Read(t.Context(), org, "ro_rescue", access.ID, "storm_plan", func(ctx context.Context, lent service.Lent) ([]byte, error) {
			p, err := lent.Plans.InForce(ctx, lent.Org, lent.Vessel)
			return p.Answer, err
		})
	}
	logs := func() (asked, owned []string) { return kindsOf(t, url, asking), kindsOf(t, url, owner.org) }
	wantAsked, wantOwned := []string{"1 emergency_access 1"}, []string{"1 vessel 1", "2 vessel 2", "3 plan 1", "4 emergency_access 1"}
	if asked, owned := logs(); !slices.Equal(asked, wantAsked) || !slices.Equal(owned, wantOwned) {
		t.Errorf("granted: got %v and %v, want %v and %v", asked, owned, wantAsked, wantOwned)
	}

	lender.err = errors.New("the store failed")
	if body, err := read(asking); err == nil || body != nil {
		t.Errorf("with a store that fails after it was noted: got body %q, error %v, want no body", body, err)
	}
	if asked, owned := logs(); !slices.Equal(asked, wantAsked) || !slices.Equal(owned, wantOwned) {
		t.Errorf("after the failure: got %v and %v, want %v and %v", asked, owned, wantAsked, wantOwned)
	}
	lender.err = nil

	seen := false
	lender.after = func() {
		seen = true
		wantAsked, wantOwned = append(wantAsked, "2 emergency_read 1"), append(wantOwned, "5 emergency_read 1")
		if asked, owned := logs(); !slices.Equal(asked, wantAsked) || !slices.Equal(owned, wantOwned) {
			t.Errorf("before the body leaves: got %v and %v, want %v and %v", asked, owned, wantAsked, wantOwned)
		}
	}
	body, err := read(asking)
	if err != nil || string(body) != string(plan.Answer) || !seen {
		t.Errorf("read: got %q, error %v, noted before %v", body, err, seen)
	}
	lender.after = nil
	for _, org := range []service.OrgID{asking, owner.org} {
		reads, err := r.Reads(t.Context(), org, access.ID)
		if err != nil || len(reads) != 1 || reads[0].What != "storm_plan" || reads[0].BodySHA256 != fmt.Sprintf("%x", hashOf(string(body))) {
			t.Errorf("reads told: got %+v, error %v", reads, err)
		}
	}

	for what, org := range map[string]service.OrgID{"a stranger": anOrg(t, s), "the owner": owner.org} {
		_, err := read(org)
		wantKind(t, what, err, service.KindNotFound)
	}
	_, err = r.Read(t.Context(), asking, "ro_rescue", access.ID, "drift", func(ctx context.Context, lent service.Lent) ([]byte, error) {
		return nil, &service.Error{Kind: service.KindNotFound, Message: "there is no drift"}
	})
	wantKind(t, "nothing to give", err, service.KindNotFound)
	if reads, err := r.Reads(t.Context(), owner.org, access.ID); err != nil || len(reads) != 2 || !slices.ContainsFunc(reads, func(r service.EmergencyRead) bool { return r.What == "drift" && r.BodySHA256 == "" }) {
		t.Errorf("that there was nothing to give: got %+v, error %v, want it noted", reads, err)
	}
}

func TestAccessEndsAndIsReviewed(t *testing.T) {
	t.Parallel()
	s := storetest.New(t)
	asking, owner := anOrg(t, s), newFleet(t, s)
	owner.registerWith("231000001")
	r := rescueOf(s, s)
	expiring, err := r.open(t, asking, "231000001")
	if err != nil {
		t.Fatal(err)
	}
	ended, err := r.open(t, asking, "231000001")
	if err != nil {
		t.Fatal(err)
	}
	read := func(a service.EmergencyAccess) error {
		_, err := r.Read(t.Context(), asking, "ro_rescue", a.ID, "vessel", func(ctx context.Context, lent service.Lent) ([]byte, error) { return []byte("{}"), nil })
		return err
	}
	_, err = r.CloseReview(t.Context(), owner.org, "ro_admin", ended.ID, "all well")
	wantKind(t, "a review of an open access", err, service.KindConflict)
	_, err = r.End(t.Context(), owner.org, "ro_admin", ended.ID)
	wantKind(t, "the owner ends it", err, service.KindNotFound)
	for range 2 {
		if got, err := r.End(t.Context(), asking, "ro_rescue", ended.ID); err != nil || got.State(r.clock()) != "ended" || got.Version != 2 {
			t.Errorf("end: got %+v, error %v", got, err)
		}
	}
	wantKind(t, "a read after the end", read(ended), service.KindAccessEnded)
	r.pass(2*time.Hour - time.Minute)
	if err := read(expiring); err != nil {
		t.Errorf("a minute before it expires: %v", err)
	}
	r.pass(time.Minute)
	wantKind(t, "a read when it has expired", read(expiring), service.KindAccessEnded)

	open, closed := false, true
	list := func(org service.OrgID, reviewed *bool) (ids []uuid.UUID) {
		page, _, err := r.List(t.Context(), org, reviewed, service.RecordQuery{Limit: 50})
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range page.Items {
			ids = append(ids, a.ID)
		}
		return ids
	}
	if got := list(owner.org, &open); len(got) != 2 {
		t.Errorf("reviews to come: got %v, want both", got)
	}
	_, err = r.CloseReview(t.Context(), asking, "ro_rescue", ended.ID, "all well")
	wantKind(t, "the asking side reviews", err, service.KindNotFound)
	for range 2 {
		if got, err := r.CloseReview(t.Context(), owner.org, "ro_admin", ended.ID, "all well"); err != nil || got.Review == nil || got.Review.Words != "all well" || got.Version != 3 || got.Side != service.SideOwner {
			t.Errorf("review: got %+v, error %v", got, err)
		}
	}
	_, err = r.CloseReview(t.Context(), owner.org, "ro_admin", ended.ID, "on second thoughts")
	wantKind(t, "another review", err, service.KindConflict)
	if got, want := list(owner.org, &open), []uuid.UUID{expiring.ID}; !slices.Equal(got, want) {
		t.Errorf("reviews to come: got %v, want %v", got, want)
	}
	for _, org := range []service.OrgID{owner.org, asking} {
		if got, want := list(org, &closed), []uuid.UUID{ended.ID}; !slices.Equal(got, want) {
			t.Errorf("reviews closed: got %v, want %v", got, want)
		}
	}
}

// Each organisation opens and reads the other's vessel, all at once: the turns are taken in one order, so nobody waits in
// a circle. With another order Postgres ends one of two by deadlock_detected.
func TestOppositeAccessesDoNotWaitForEachOther(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	a, b := newFleet(t, s), newFleet(t, s)
	a.registerWith("231000001")
	b.registerWith("231000002")
	r := rescueOf(s, s)
	var all sync.WaitGroup
	const rounds = 20
	for range rounds {
		for org, mmsi := range map[service.OrgID]string{a.org: "231000002", b.org: "231000001"} {
			all.Go(func() {
				access, err := r.open(t, org, mmsi)
				if err == nil {
					_, err = r.Read(t.Context(), org, "ro_rescue", access.ID, "vessel", func(context.Context, service.Lent) ([]byte, error) { return []byte("{}"), nil })
				}
				if err != nil {
					t.Error(err)
				}
			})
		}
	}
	all.Wait()
	for _, org := range []service.OrgID{a.org, b.org} {
		got := ask(t, url, `SELECT concat_ws(' ', count(*), min(seq), max(seq), count(*) FILTER (WHERE kind = 'emergency_access'), count(*) FILTER (WHERE kind = 'emergency_read')) FROM changes WHERE org_id = $1`, org)
		if want := fmt.Sprintf("%d 1 %d %d %d", 2+4*rounds, 2+4*rounds, 2*rounds, 2*rounds); got[0] != want {
			t.Errorf("log: got %s, want %s: rows, first, last, accesses, reads", got[0], want)
		}
	}
}
