package store_test

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/store"
	"rideout/store/storetest"
)

// aFleet is an organisation's book with a clock that is set by hand.
type aFleet struct {
	t     *testing.T
	store *store.Store
	org   service.OrgID
	now   time.Time
}

func newFleet(t *testing.T, s *store.Store) *aFleet {
	t.Helper()
	return &aFleet{t: t, store: s, org: anOrg(t, s), now: noon}
}

func (f *aFleet) registers() *service.Registers {
	now := f.now
	return &service.Registers{History: f.store, Clock: func() time.Time { return now }, NewID: uuid.New}
}

const tern = `{"name": "Tern of Hamna", "hull": "workboat", "loa_m": 12, "beam_m": 4, "draught_m": 1, "displacement_kg": 9000}`

func (f *aFleet) register(validFrom string) (id uuid.UUID, body []byte) {
	f.t.Helper()
	entity, err := decoded(fleet.KindVessel)([]byte(tern), f.now)
	if err != nil {
		f.t.Fatal(err)
	}
	d := service.Draft{Kind: fleet.KindVessel, ValidFrom: at(f.t, validFrom), By: "ro_test", Entity: entity}
	answer, _, err := f.registers().Add(f.t.Context(), f.org, aClaim(uuid.NewString()), d)
	if err != nil {
		f.t.Fatal(err)
	}
	return idOf(f.t, answer.Body), answer.Body
}

func (f *aFleet) change(id uuid.UUID, validFrom, patch string, match service.Match) (service.Version, error) {
	f.t.Helper()
	var merge any
	if err := json.Unmarshal([]byte(patch), &merge); err != nil {
		f.t.Fatal(err)
	}
	return f.registers().Change(f.t.Context(), f.org, service.Patch{
		Kind: fleet.KindVessel, ID: id, ValidFrom: at(f.t, validFrom), By: "ro_test", Match: match, Merge: merge, Decode: decoded(fleet.KindVessel),
	})
}

// status reads a vessel's status as of two times; "" is none.
func (f *aFleet) status(id uuid.UUID, validAt, knownAt string) string {
	f.t.Helper()
	v, _, err := f.registers().Read(f.t.Context(), f.org, fleet.KindVessel, id, service.AsOf{ValidAt: at(f.t, validAt), KnownAt: at(f.t, knownAt)})
	if errors.Is(err, service.ErrNotFound) {
		return ""
	}
	if err != nil {
		f.t.Fatal(err)
	}
	var vessel fleet.Vessel
	if err := json.Unmarshal(v.Body, &vessel); err != nil {
		f.t.Fatal(err)
	}
	return vessel.Status
}

// at reads a time; "" is the zero time.
func at(t *testing.T, text string) time.Time {
	t.Helper()
	if text == "" {
		return time.Time{}
	}
	return timeOf(t, text)
}

func idOf(t *testing.T, body []byte) uuid.UUID {
	t.Helper()
	var said struct {
		ID uuid.UUID `json:"id"`
	}
	if err := json.Unmarshal(body, &said); err != nil {
		t.Fatal(err)
	}
	return said.ID
}

var whichever = service.Match{Any: true}

func TestVesselSoldAndBoughtBack(t *testing.T) {
	t.Parallel()
	f := newFleet(t, storetest.New(t))
	id, _ := f.register("2020-02-29T00:00:00Z") // a leap day
	for _, c := range []struct{ recorded, from, status string }{
		{"2026-03-01T12:00:00Z", "2026-03-01T00:00:00+01:00", "sold"}, // midnight where she was sold
		{"2026-09-10T08:00:00Z", "2026-09-01T00:00:00Z", "in_service"},
		{"2026-10-01T08:00:00Z", "2026-02-01T00:00:00Z", "sold"}, // it had been in February, as came out
	} {
		f.now = at(t, c.recorded)
		if _, err := f.change(id, c.from, `{"status": "`+c.status+`"}`, whichever); err != nil {
			t.Fatal(err)
		}
	}
	f.now = at(t, "2026-12-01T00:00:00Z")
	for _, c := range []struct{ valid, known, want string }{
		{"2020-02-28T23:59:59Z", "", ""},
		{"2020-02-29T00:00:00Z", "", "in_service"},
		{"2020-02-28T20:00:00-04:00", "", "in_service"},
		{"2026-02-15T00:00:00Z", "2026-09-30T00:00:00Z", "in_service"}, // what was thought before October
		{"2026-02-15T00:00:00Z", "", "sold"},
		{"2026-02-28T22:59:59Z", "2026-09-30T00:00:00Z", "in_service"},
		{"2026-02-28T23:00:00Z", "2026-09-30T00:00:00Z", "sold"},
		{"2026-02-28T23:00:00Z", "2026-03-01T11:59:59Z", "in_service"}, // not known yet
		{"2026-08-31T23:59:59Z", "", "sold"},
		{"2026-09-01T02:00:00+02:00", "", "in_service"},
		{"2026-09-05T00:00:00Z", "2026-09-10T07:59:59Z", "sold"},
		{"", "", "in_service"},
		{"2028-02-29T12:00:00Z", "2030-01-01T00:00:00Z", "in_service"}, // known in the future is known now
	} {
		if got := f.status(id, c.valid, c.known); got != c.want {
			t.Errorf("at %s, known at %s: got %q, want %q", c.valid, c.known, got, c.want)
		}
	}
}

func TestFiftyChangesOfOneVersion(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	f := newFleet(t, storetest.Open(t, url))
	id, body := f.register("")
	match := service.Match{SHA256: []string{hexOf(body)}}
	outcomes := make(chan error, 50)
	var all sync.WaitGroup
	for i := range 50 {
		all.Go(func() {
			_, err := f.change(id, "", `{"note": "change `+strconv.Itoa(i)+`"}`, match)
			outcomes <- err
		})
	}
	all.Wait()
	count := map[service.Kind]int{}
	for range 50 {
		err := <-outcomes
		var said *service.Error
		switch {
		case err == nil:
			count["done"]++
		case errors.As(err, &said):
			count[said.Kind]++
		default:
			t.Error(err)
		}
	}
	if count["done"] != 1 || count[service.KindStale] != 49 {
		t.Errorf("outcomes %v, want 1 done and 49 %s", count, service.KindStale)
	}
	wantRows(t, url, "records", 2)
	wantRows(t, url, "changes", 2)
}

func TestChangesAreInOneOrderWithoutGaps(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	f := newFleet(t, storetest.Open(t, url))
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			for range 10 {
				id, _ := f.register("")
				if _, err := f.change(id, "", `{"note": "seen"}`, whichever); err != nil {
					t.Error(err)
				}
				keep(t, f.store, f.org, aPlan())
			}
		})
	}
	all.Wait()
	const wrong = `
		SELECT count(*) FROM (
			SELECT seq, recorded_at, row_number() OVER (ORDER BY seq) n, lag(recorded_at) OVER (ORDER BY seq) before FROM changes
		) c WHERE seq <> n OR recorded_at <= before`
	if got := ask(t, url, wrong); !slices.Equal(got, []string{"0"}) {
		t.Errorf("changes out of order, or gaps: %v", got)
	}
	wantRows(t, url, "changes", 240)
	const unlike = `
		SELECT count(*) FROM changes c
		FULL JOIN (
			SELECT org_id, kind, id, version, body_sha256, body::text AS body FROM records
			UNION ALL SELECT org_id, 'plan', id, 1, encode(sha256(convert_to(answer::text, 'UTF8')), 'hex'), answer::text FROM plans
		) r ON r.org_id = c.org_id AND r.kind = c.kind AND r.id = c.entity_id AND r.version = c.version AND r.body_sha256 = c.body_sha256
			AND r.body_sha256 = encode(sha256(convert_to(r.body, 'UTF8')), 'hex')
		WHERE c.seq IS NULL OR r.id IS NULL`
	if got := ask(t, url, unlike); !slices.Equal(got, []string{"0"}) {
		t.Errorf("changes that are not what was recorded, or the other way: %v", got)
	}
}

// A question about a moment after the last change closes that moment: a process whose clock is behind records nothing before it.
func TestAnsweredMomentIsClosed(t *testing.T) {
	t.Parallel()
	f := newFleet(t, storetest.New(t))
	id, _ := f.register("2026-01-01T00:00:00Z")
	f.now = f.now.Add(time.Hour)
	moment := f.now.Format(time.RFC3339Nano)
	if got := f.status(id, "", moment); got != "in_service" {
		t.Fatalf("status %q, want in_service", got)
	}
	f.now = f.now.Add(-time.Minute) // another process
	v, err := f.change(id, "", `{"status": "laid_up"}`, whichever)
	if err != nil {
		t.Fatal(err)
	}
	if !v.RecordedAt.After(at(t, moment)) {
		t.Errorf("recorded at %v, want after %s", v.RecordedAt, moment)
	}
	if got := f.status(id, "", ""); got != "laid_up" {
		t.Errorf("by the clock that is behind: %q, want laid_up as just recorded", got)
	}
	f.now = f.now.Add(time.Hour)
	if got := f.status(id, "", moment); got != "in_service" {
		t.Errorf("asked again: %q, want in_service as before", got)
	}
}

func TestBookIsAppendOnly(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	f := newFleet(t, storetest.Open(t, url))
	f.register("")
	for _, sql := range []string{
		`UPDATE records SET by = 'me'`, `DELETE FROM records`, `TRUNCATE records`, `UPDATE records SET by = 'me' WHERE false`,
		`UPDATE changes SET by = 'me'`, `DELETE FROM changes`, `TRUNCATE changes CASCADE`,
		`DELETE FROM organisation_log`, `TRUNCATE organisation_log`,
	} {
		if _, err := tryAsk(t, url, sql); err == nil || !strings.Contains(err.Error(), "is append-only") {
			t.Errorf("%s: got %v, want that it is refused", sql, err)
		}
	}
}

func TestOrganisationsBooksAreTheirOwn(t *testing.T) {
	t.Parallel()
	s := storetest.New(t)
	us, them := newFleet(t, s), newFleet(t, s)
	theirs, _ := them.register("")
	us.register("")
	if got := us.status(theirs, "", ""); got != "" {
		t.Errorf("another organisation's vessel: got %q, want that there is none", got)
	}
	if _, err := us.change(theirs, "", `{"note": "ours"}`, whichever); !errors.Is(err, service.ErrNotFound) {
		t.Errorf("change of another organisation's vessel: got %v, want %v", err, service.ErrNotFound)
	}
	page, _, err := us.registers().List(t.Context(), us.org, service.RecordQuery{Kind: fleet.KindVessel, Limit: 10})
	if err != nil || len(page.Items) != 1 {
		t.Errorf("our vessels: got %d, error %v, want 1", len(page.Items), err)
	}
}

// A change whose transaction fails takes no number.
func TestFailedChangeLeavesNoGap(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	f := newFleet(t, storetest.Open(t, url))
	broken := errors.New("broken")
	err := f.store.Change(t.Context(), f.org, func(ctx context.Context, r service.Recorder) error {
		if _, err := r.Turn(ctx, func() time.Time { return noon }); err != nil {
			return err
		}
		return broken
	})
	if !errors.Is(err, broken) {
		t.Fatalf("got %v, want %v", err, broken)
	}
	f.register("")
	if got := ask(t, url, `SELECT seq FROM changes`); !slices.Equal(got, []string{"1"}) {
		t.Errorf("numbers %v, want 1", got)
	}
}

// Plans from before there was a log are in it, in the order they were recorded.
func TestLogTakesInEarlierPlans(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	down(t, url, int(newest(t))-1)
	ask(t, url, `INSERT INTO organisations (id, name) VALUES ('00000000-0000-0000-0000-00000000000a', 'a'), ('00000000-0000-0000-0000-00000000000b', 'b')`)
	for i, hour := range []int{3, 2, 5} {
		ask(t, url, `INSERT INTO plans (org_id, id, created_at, vessel_name, intent, engine, input_sha256, peak_low_n, peak_mid_n, peak_high_n, pay_out_m, inputs, answer, working)
			VALUES ('00000000-0000-0000-0000-00000000000a', $1, $2, 'Tern', 'drill', '1', repeat('0', 64), 1, 1, 1, 1, '{}', '{"a": 1}', '[]')`,
			uuid.UUID{15: byte(i + 1)}, noon.Add(time.Duration(hour)*time.Hour))
	}
	migrate(t, url)
	got := ask(t, url, `SELECT concat_ws(' ', seq, right(entity_id::text, 1), to_char(recorded_at AT TIME ZONE 'UTC', 'HH24'), body_sha256) FROM changes ORDER BY seq`)
	sum := hexOf([]byte(`{"a": 1}`))
	if want := []string{"1 1 15 " + sum, "2 2 15 " + sum, "3 3 17 " + sum}; !slices.Equal(got, want) {
		t.Errorf("log: got %q, want %q", got, want)
	}
	if got := ask(t, url, `SELECT seq::text FROM organisation_log ORDER BY org_id`); !slices.Equal(got, []string{"3", "0"}) {
		t.Errorf("last numbers: got %v, want 3 and 0", got)
	}
}
