package store_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/planner"
	"rideout/service/readiness"
	"rideout/service/servicetest"
	"rideout/store"
	"rideout/store/storetest"
)

// asksFleet asks a history for a whole fleet in short.
func asksFleet(ctx context.Context, h service.History, org service.OrgID, now time.Time, at service.AsOf) (readiness.Summary, error) {
	r := service.Registers{History: h, Clock: func() time.Time { return now }, NewID: uuid.New}
	summary, _, err := r.Fleet(ctx, org, at)
	return summary, err
}

// putBack takes everything after a change out of an organisation's book, as a backup that is restored does.
const putBack = `
DO $do$ BEGIN
    PERFORM set_config('session_replication_role', 'replica', true);
    DELETE FROM plan_facts f USING changes c WHERE c.org_id = '%[1]s' AND c.seq > %[2]s AND f.plan_id = c.entity_id;
    DELETE FROM plans p USING changes c WHERE c.org_id = '%[1]s' AND c.seq > %[2]s AND p.id = c.entity_id;
    DELETE FROM records WHERE org_id = '%[1]s' AND seq > %[2]s;
    DELETE FROM changes WHERE org_id = '%[1]s' AND seq > %[2]s;
    DELETE FROM log_hashes WHERE org_id = '%[1]s';
    DELETE FROM log_checkpoints WHERE org_id = '%[1]s';
    UPDATE organisation_log SET seq = %[2]s, known_until = (SELECT max(recorded_at) FROM changes WHERE org_id = '%[1]s') WHERE org_id = '%[1]s';
END $do$`

// A process goes on while its database is put back to an earlier time and another history grows from there: what it
// remembers of the one that is gone is not told.
func TestFleetOfADatabasePutBack(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	for seed := range uint64(4) {
		w := &twice{
			t: t, org: anOrg(t, s), now: noon, random: rand.New(rand.NewPCG(seed, 2)),
			histories: [2]service.History{s, &servicetest.History{}}, known: map[fleet.Kind][]uuid.UUID{},
		}
		w.begin()
		for range 20 {
			w.step()
		}
		seq := ask(t, url, `SELECT seq::text FROM organisation_log WHERE org_id = $1`, w.org)[0]
		then := service.AsOf{ValidAt: w.now, KnownAt: w.now}
		before := w.fleet(0, then)
		for range 15 {
			w.step()
		}
		w.fleet(0, service.AsOf{ValidAt: w.now, KnownAt: w.now})
		ask(t, url, fmt.Sprintf(putBack, w.org, seq))
		grown := 30 // past where the one that is gone ended
		if seed%2 == 0 {
			grown = 3
			if after := w.fleet(0, then); after != before {
				t.Fatalf("seed %d: put back the fleet is\n%s\nand was\n%s", seed, after, before)
			}
		}
		f := &aFleet{t: t, store: s, org: w.org, now: w.now.Add(time.Hour)}
		for range grown {
			f.now = f.now.Add(time.Minute)
			f.register("2025-01-01T00:00:00Z")
		}
		at := service.AsOf{ValidAt: f.now, KnownAt: f.now}
		var told [2]string
		for i, h := range []service.History{s, storetest.Open(t, url)} {
			summary, err := asksFleet(t.Context(), h, w.org, f.now, at)
			if err != nil {
				t.Fatal(err)
			}
			told[i] = written(t, summary)
		}
		if told[0] != told[1] {
			t.Errorf("seed %d: the process that went on reads\n%s\nand one begun anew\n%s", seed, told[0], told[1])
		}
	}
}

// Many ask while one records: none is told of what another time knew, and all agree with who begins anew.
func TestFleetAskedWhileItGrows(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	w := &twice{
		t: t, org: anOrg(t, s), now: noon, random: rand.New(rand.NewPCG(9, 9)),
		histories: [2]service.History{s, &servicetest.History{}}, known: map[fleet.Kind][]uuid.UUID{},
	}
	w.begin()
	var mu sync.Mutex
	asked := map[service.AsOf]string{}
	done := make(chan struct{})
	var askers sync.WaitGroup
	for i := range 3 {
		askers.Go(func() {
			random := rand.New(rand.NewPCG(9, uint64(i)))
			for {
				select {
				case <-done:
					return
				default:
				}
				at := service.AsOf{ValidAt: noon.AddDate(0, 0, -random.IntN(700)), KnownAt: noon.Add(time.Duration(random.IntN(5)) * time.Minute)}
				summary, err := asksFleet(t.Context(), s, w.org, noon.AddDate(0, 1, 0), at)
				if err != nil {
					t.Error(err)
					return
				}
				mu.Lock()
				asked[at] = summaryText(summary)
				mu.Unlock()
			}
		})
	}
	for range 60 {
		w.step()
	}
	close(done)
	askers.Wait()
	fresh := storetest.Open(t, url)
	for at, told := range asked {
		summary, err := asksFleet(t.Context(), fresh, w.org, noon.AddDate(0, 1, 0), at)
		if err != nil {
			t.Fatal(err)
		}
		if now := summaryText(summary); now != told {
			t.Fatalf("as of %+v it was told\n%s\nand one begun anew reads\n%s", at, told, now)
		}
	}
	if len(asked) < 10 {
		t.Fatalf("only %d questions were asked", len(asked))
	}
}

func summaryText(s readiness.Summary) string { return fmt.Sprintf("%+v", s) }

// A plan of a fleet is told from memory as the database has it: superseded before and after it was remembered.
func TestStandingPlanIsRemembered(t *testing.T) {
	t.Parallel()
	s := storetest.New(t)
	f := newFleet(t, s)
	vessel, _ := f.register("2025-01-01T00:00:00Z")
	made := func(supersedes uuid.UUID) uuid.UUID {
		t.Helper()
		f.now = f.now.Add(time.Minute)
		p := aPlan()
		p.Intent, p.VesselID, p.Supersedes, p.CreatedAt = planner.RideOutStorm, vessel, supersedes, f.now
		p.Facts = readiness.Plan{WindKt: 60, HsM: 9, CanopyVerdict: "suits", RodeVerdict: "suits", Part: "rode", Use: 0.5, PartVerdict: "within", Outfit: []string{}}
		err := s.Change(t.Context(), f.org, func(ctx context.Context, r service.Recorder) error { return r.RecordPlan(ctx, p) })
		if err != nil {
			t.Fatal(err)
		}
		return p.ID
	}
	stands := func(at time.Time) (plan uuid.UUID) {
		t.Helper()
		err := s.View(t.Context(), f.org, at, func(ctx context.Context, r service.Reader) error {
			states, err := r.FleetStates(ctx, service.AsOf{ValidAt: at, KnownAt: at}, fleet.DesignStorm{WindSpeedKt: 50, HsM: 8})
			if err == nil && states[0].Plan != nil && states[0].Plan.SupersededAt == nil {
				plan = states[0].Plan.ID
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return plan
	}
	first := made(uuid.Nil)
	atFirst := f.now
	second := made(uuid.Nil)
	atSecond := f.now
	if got := stands(atSecond); got != second {
		t.Fatalf("the newest is %s, want %s", got, second)
	}
	made(first) // takes the place of the first, which is remembered by now
	third := made(second)
	if got := stands(f.now); got != third {
		t.Errorf("now %s stands, want %s", got, third)
	}
	if got := stands(atFirst); got != first {
		t.Errorf("at first %s stood, want %s", got, first)
	}
	if got := stands(atSecond); got != second {
		t.Errorf("then %s stood, want %s", got, second)
	}
}

func TestWhatIsRememberedIsBounded(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ sizes, kept []int }{
		{[]int{1000, 1000, 1000}, []int{1, 2, 3}},
		{[]int{200_000, 90_000, 90_000}, []int{2, 3}},
		{[]int{1000, 400_000}, nil},
	} {
		if got := store.Kept(c.sizes); !slices.Equal(got, c.kept) {
			t.Errorf("of books of %v versions are kept %v, want %v", c.sizes, got, c.kept)
		}
	}
}
