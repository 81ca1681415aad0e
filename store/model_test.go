package store_test

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/store"
	"rideout/store/storetest"
)

// modelled is a version as one who keeps all of them in a list would have it.
type modelled struct {
	kind       fleet.Kind
	id         uuid.UUID
	validFrom  time.Time
	recordedAt time.Time
	vessel     string // of gear: whose it is, "" ashore
	attributes map[string]any
	body       []byte
}

// model is an organisation's book in memory, in the order of recording.
type model struct {
	org      service.OrgID
	now      time.Time
	versions []modelled
}

// inForce looks at every version: of those known, the one that holds from the latest time not after validAt; of equals the later one.
func (m *model) inForce(kind fleet.Kind, id uuid.UUID, validAt, knownAt time.Time) *modelled {
	var best *modelled
	for i := range m.versions {
		v := &m.versions[i]
		if v.kind != kind || v.id != id || v.recordedAt.After(knownAt) || v.validFrom.After(validAt) {
			continue
		}
		if best == nil || !v.validFrom.Before(best.validFrom) {
			best = v
		}
	}
	return best
}

// base is what a change from a time on starts from.
func (m *model) base(kind fleet.Kind, id uuid.UUID, validAt time.Time) *modelled {
	if v := m.inForce(kind, id, validAt, m.now.Add(time.Hour)); v != nil {
		return v
	}
	var first *modelled
	for i := range m.versions {
		v := &m.versions[i]
		if v.kind == kind && v.id == id && (first == nil || !v.validFrom.After(first.validFrom)) {
			first = v
		}
	}
	return first
}

func (m *model) ids(kind fleet.Kind) []uuid.UUID {
	seen := map[uuid.UUID]bool{}
	var ids []uuid.UUID
	for _, v := range m.versions {
		if v.kind == kind && !seen[v.id] {
			seen[v.id] = true
			ids = append(ids, v.id)
		}
	}
	return ids
}

// fittedTo gives the gear of a vessel, newest id first.
func (m *model) fittedTo(vessel uuid.UUID, validAt, knownAt time.Time) [][]byte {
	var list []*modelled
	for _, id := range m.ids(fleet.KindGear) {
		if v := m.inForce(fleet.KindGear, id, validAt, knownAt); v != nil && v.vessel == vessel.String() {
			list = append(list, v)
		}
	}
	slices.SortFunc(list, func(a, b *modelled) int { return cmp.Compare(b.id.String(), a.id.String()) })
	bodies := [][]byte{}
	for _, v := range list {
		bodies = append(bodies, v.body)
	}
	return bodies
}

// question is one that was asked, and its answer.
type question struct {
	org    service.OrgID
	kind   fleet.Kind
	id     uuid.UUID
	fitted bool // the gear of the vessel, not herself
	at     service.AsOf
	answer string
}

const (
	runs          = 100 // what rapid does unless told otherwise
	changesPerRun = 100
	notThere      = "not there"
)

// 10,000 random changes agree with a model in memory at every question in two times, and every question has the
// same answer to the byte after 10,000 more.
func TestBookAgreesWithAModel(t *testing.T) {
	t.Parallel()
	book := &modelledBook{store: storetest.New(t)}
	var models []*model
	rapid.Check(t, func(rt *rapid.T) {
		m := &model{org: anOrg(t, book.store), now: noon}
		book.walk(rt, m)
		models = append(models, m)
	})
	asked := slices.Clone(book.asked)
	if book.changes < runs*changesPerRun {
		t.Fatalf("%d changes, want %d", book.changes, runs*changesPerRun)
	}
	next := 0
	rapid.Check(t, func(rt *rapid.T) {
		book.walk(rt, models[next%len(models)])
		next++
	})
	if book.changes < 2*runs*changesPerRun {
		t.Fatalf("%d changes, want %d", book.changes, 2*runs*changesPerRun)
	}
	found := 0
	for _, q := range asked {
		if q.answer != notThere && q.answer != "" {
			found++
		}
		if again, _ := book.ask(t, q, noon.AddDate(100, 0, 0)); again != q.answer {
			t.Errorf("%+v: asked again %s, at first %s", q, again, q.answer)
		}
	}
	if found < len(asked)/3 {
		t.Errorf("%d of %d questions found something: too few to tell", found, len(asked))
	}
	t.Logf("%d changes, %d refused as stale; %d questions asked twice, %d of them found something", book.changes, book.stale, len(asked), found)
}

// modelledBook changes and asks a store and a model alike.
type modelledBook struct {
	store          *store.Store
	changes, stale int
	asked          []question
}

func (b *modelledBook) registers(m *model) *service.Registers {
	return &service.Registers{History: b.store, Clock: func() time.Time { return m.now }, NewID: uuid.New}
}

func (b *modelledBook) walk(rt *rapid.T, m *model) {
	for done := b.changes + changesPerRun; b.changes < done; {
		m.now = m.now.Add(rapid.SampledFrom([]time.Duration{0, time.Microsecond, time.Second, 5 * time.Hour, 40 * 24 * time.Hour}).Draw(rt, "passes"))
		vessels, gear := m.ids(fleet.KindVessel), m.ids(fleet.KindGear)
		switch what := rapid.IntRange(0, 9).Draw(rt, "what"); {
		case len(vessels) == 0 || (what == 0 && len(vessels) < 4):
			b.add(rt, m, fleet.KindVessel, map[string]any{
				"name": "Tern of Hamna", "hull": "workboat", "loa_m": 12.0, "beam_m": 4.0, "draught_m": 1.0, "displacement_kg": 9000.0, "status": "in_service",
			})
		case len(gear) == 0 || (what <= 2 && len(gear) < 12):
			b.add(rt, m, fleet.KindGear, map[string]any{"kind": "knife", "vessel_id": rapid.SampledFrom(vessels).Draw(rt, "vessel").String()})
		case what <= 5:
			b.patch(rt, m, fleet.KindVessel, rapid.SampledFrom(vessels).Draw(rt, "vessel"), map[string]any{
				"status": rapid.SampledFrom([]any{"in_service", "sold", "laid_up"}).Draw(rt, "status"),
				"note":   rapid.SampledFrom([]any{nil, "a", "å"}).Draw(rt, "note"),
			})
		default:
			to := rapid.SampledFrom(append([]uuid.UUID{uuid.Nil}, vessels...)).Draw(rt, "to")
			patch := map[string]any{"vessel_id": nil, "place": rapid.SampledFrom([]any{nil, "bow locker", "wheelhouse"}).Draw(rt, "place")}
			if to != uuid.Nil {
				patch["vessel_id"] = to.String()
			}
			b.patch(rt, m, fleet.KindGear, rapid.SampledFrom(gear).Draw(rt, "item"), patch)
		}
		b.question(rt, m)
	}
}

var zones = []*time.Location{time.UTC, time.FixedZone("", 5*3600+45*60), time.FixedZone("", -9*3600-1800), time.FixedZone("", 14*3600)}

// from draws the time a change holds from: not given, or one of few, so that many meet, and in any zone.
func (m *model) from(rt *rapid.T) time.Time {
	days := rapid.SampledFrom([]int{-1000, -400, -30, -1, 0, 1, 30, 300}).Draw(rt, "days")
	if days == 0 {
		return time.Time{}
	}
	return m.now.Truncate(24*time.Hour).AddDate(0, 0, days).In(zones[rapid.IntRange(0, len(zones)-1).Draw(rt, "zone")])
}

func (b *modelledBook) add(rt *rapid.T, m *model, kind fleet.Kind, attributes map[string]any) {
	entity := mustDecode(rt, kind, attributes)
	from := m.from(rt)
	claim := aClaim(uuid.NewString())
	answer, _, err := b.registers(m).Add(rt.Context(), m.org, claim, service.Draft{Kind: kind, ValidFrom: from, By: "ro_model", Entity: entity})
	if err != nil {
		rt.Fatalf("add %s: %v", kind, err)
	}
	b.note(rt, m, kind, from, attributes, answer.Body)
}

func (b *modelledBook) patch(rt *rapid.T, m *model, kind fleet.Kind, id uuid.UUID, patch map[string]any) {
	from := m.from(rt)
	base := m.base(kind, id, cmp.Or(from, m.now.Add(time.Microsecond))) // recorded at the earliest now, at the latest so
	match := base
	if rapid.IntRange(0, 9).Draw(rt, "match") == 0 {
		match = &m.versions[rapid.IntRange(0, len(m.versions)-1).Draw(rt, "other")]
	}
	v, err := b.registers(m).Change(rt.Context(), m.org, service.Patch{
		Kind: kind, ID: id, ValidFrom: from, By: "ro_model", Match: service.Match{SHA256: []string{hexOf(match.body)}}, Merge: any(patch),
		Decode: decoded(kind),
	})
	if match != base {
		b.stale++
		if got := (*service.Error)(nil); !errors.As(err, &got) || got.Kind != service.KindStale {
			rt.Fatalf("change of %s from another version than that in force: %v, want %s", kind, err, service.KindStale)
		}
		return
	}
	if err != nil {
		rt.Fatalf("change %s: %v", kind, err)
	}
	attributes := maps.Clone(base.attributes)
	for name, value := range patch {
		if attributes[name] = value; value == nil {
			delete(attributes, name)
		}
	}
	b.note(rt, m, kind, from, attributes, v.Body)
}

// note holds a body against what the model expects and takes it into the model.
func (b *modelledBook) note(rt *rapid.T, m *model, kind fleet.Kind, from time.Time, want map[string]any, body []byte) {
	b.changes++
	var got map[string]any
	if err := json.Unmarshal(body, &got); err != nil {
		rt.Fatal(err)
	}
	id := uuid.MustParse(got["id"].(string))
	recordedAt := timeOf(rt, got["recorded_at"])
	if n := len(m.versions); n > 0 && !recordedAt.After(m.versions[n-1].recordedAt) || recordedAt.Before(m.now) {
		rt.Fatalf("recorded at %v, which is not after everything before, or before %v", recordedAt, m.now)
	}
	if m.now.Before(recordedAt) {
		m.now = recordedAt
	}
	validFrom := timeOf(rt, got["valid_from"])
	if !validFrom.Equal(cmp.Or(from.UTC(), recordedAt)) {
		rt.Fatalf("valid from %v, want %v", validFrom, from)
	}
	number := 1.0
	for _, v := range m.versions {
		if v.kind == kind && v.id == id {
			number++
		}
	}
	if got["version"] != number {
		rt.Fatalf("version %v, want %v", got["version"], number)
	}
	for _, name := range []string{"id", "version", "valid_from", "recorded_at", "recorded_by", "links"} {
		delete(got, name)
	}
	if !reflect.DeepEqual(got, want) {
		rt.Fatalf("%s: got %v, want %v", kind, got, want)
	}
	vessel, _ := want["vessel_id"].(string)
	m.versions = append(m.versions, modelled{kind, id, validFrom, recordedAt, vessel, want, body})
}

// question asks one at times near those where answers change.
func (b *modelledBook) question(rt *rapid.T, m *model) {
	some := func(label string) modelled {
		return m.versions[rapid.IntRange(0, len(m.versions)-1).Draw(rt, label)]
	}
	near := func(label string, at time.Time) time.Time {
		return at.Add(rapid.SampledFrom([]time.Duration{0, -time.Microsecond, time.Microsecond, 500 * time.Nanosecond}).Draw(rt, label)).In(zones[rapid.IntRange(0, len(zones)-1).Draw(rt, "zone")])
	}
	about := some("about")
	q := question{org: m.org, kind: about.kind, id: about.id, fitted: about.kind == fleet.KindVessel && rapid.Bool().Draw(rt, "fitted")}
	q.at.ValidAt = near("valid", some("valid at").validFrom)
	switch rapid.IntRange(0, 3).Draw(rt, "known") {
	case 0: // the latest there is
	case 1:
		q.at.KnownAt = m.now.Add(-time.Duration(rapid.IntRange(0, 1000).Draw(rt, "ago")) * time.Millisecond)
	default:
		q.at.KnownAt = near("known", some("known at").recordedAt)
	}
	answer, at := b.ask(rt, q, m.now)
	q.answer, q.at = answer, at
	if want := m.answer(q); answer != want {
		rt.Fatalf("%+v: got %s, want %s", q, answer, want)
	}
	b.asked = append(b.asked, q)
}

func (m *model) answer(q question) string {
	if q.fitted {
		return joined(m.fittedTo(q.id, q.at.ValidAt, q.at.KnownAt))
	}
	v := m.inForce(q.kind, q.id, q.at.ValidAt, q.at.KnownAt)
	if v == nil {
		return notThere
	}
	return string(v.body)
}

func joined(bodies [][]byte) string {
	texts := make([]string, len(bodies))
	for i, b := range bodies {
		texts[i] = string(b)
	}
	return strings.Join(texts, "\n")
}

// asker is a test of either kind.
type asker interface {
	Context() context.Context
	Fatalf(format string, args ...any)
	Fatal(args ...any)
}

// ask asks the store, by a clock that shows now. Lists are read in pages of three.
func (b *modelledBook) ask(t asker, q question, now time.Time) (string, service.AsOf) {
	r := &service.Registers{History: b.store, Clock: func() time.Time { return now }}
	if !q.fitted {
		v, at, err := r.Read(t.Context(), q.org, q.kind, q.id, q.at)
		switch {
		case errors.Is(err, service.ErrNotFound):
			return notThere, at
		case err != nil:
			t.Fatalf("read: %v", err)
		}
		return string(v.Body), at
	}
	query := service.RecordQuery{Kind: fleet.KindGear, VesselID: q.id, AsOf: q.at, Limit: 3}
	var bodies [][]byte
	for {
		page, at, err := r.List(t.Context(), q.org, query)
		if err != nil {
			t.Fatalf("list: %v", err)
		}
		for _, v := range page.Items {
			bodies = append(bodies, v.Body)
		}
		if page.Next == nil {
			return joined(bodies), at
		}
		query.From, query.AsOf = *page.Next, at
	}
}

func timeOf(t asker, text any) time.Time {
	at, err := time.Parse(time.RFC3339Nano, fmt.Sprint(text))
	if err != nil {
		t.Fatal(err)
	}
	return at
}

func hexOf(body []byte) string {
	sum := sha256.Sum256(body)
	return hex.EncodeToString(sum[:])
}

// decoded reads attributes as the api does, but for the contract.
func decoded(kind fleet.Kind) service.Decode {
	return func(attributes []byte, now time.Time) (fleet.Entity, error) {
		entity := fleet.Describe(kind).New()
		if err := json.Unmarshal(attributes, entity); err != nil {
			return nil, err
		}
		entity.Settle()
		if problems := entity.Check(now); len(problems) > 0 {
			return nil, fmt.Errorf("wrong: %+v", problems)
		}
		return entity, nil
	}
}

func mustDecode(t asker, kind fleet.Kind, attributes map[string]any) fleet.Entity {
	text, err := json.Marshal(attributes)
	if err != nil {
		t.Fatal(err)
	}
	entity, err := decoded(kind)(text, noon.AddDate(100, 0, 0))
	if err != nil {
		t.Fatal(err)
	}
	return entity
}
