package store_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"strings"
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

// twice does the same on two histories: the store's and one in memory.
type twice struct {
	t         *testing.T
	org       service.OrgID
	now       time.Time
	random    *rand.Rand
	histories [2]service.History
	made      [2]int // ids handed out
	known     map[fleet.Kind][]uuid.UUID
}

func (w *twice) registers(i int) *service.Registers {
	return &service.Registers{History: w.histories[i], Clock: func() time.Time { return w.now }, NewID: func() uuid.UUID {
		w.made[i]++
		return uuid.UUID{byte(w.made[i] / 256), byte(w.made[i]), 1}
	}}
}

func (w *twice) add(d service.Draft, attributes string) {
	w.t.Helper()
	w.now = w.now.Add(time.Minute)
	claim := aClaim(uuid.NewString())
	d.By = "ro_test"
	var bodies [2]string
	for i := range w.histories {
		entity, err := decoded(d.Kind)([]byte(attributes), w.now)
		if err != nil {
			w.t.Fatalf("%s: %v", attributes, err)
		}
		if item, ok := entity.(*fleet.GearItem); ok {
			item.VesselID, d.Within = &d.Under, d.Under
		}
		draft := d
		if d.Kind == fleet.KindGear {
			draft.Under = uuid.Nil
		}
		draft.Entity = entity
		answer, _, err := w.registers(i).Add(w.t.Context(), w.org, claim, draft)
		if err != nil {
			w.t.Fatalf("%s: %v", attributes, err)
		}
		bodies[i] = string(answer.Body)
	}
	if bodies[0] != bodies[1] {
		w.t.Fatalf("recorded %s and %s", bodies[0], bodies[1])
	}
	w.known[d.Kind] = append(w.known[d.Kind], idOf(w.t, []byte(bodies[0])))
}

func (w *twice) change(kind fleet.Kind, from time.Time, patch string) {
	w.t.Helper()
	w.now = w.now.Add(time.Minute)
	id := w.one(kind)
	for i := range w.histories {
		var merge any
		if err := json.Unmarshal([]byte(patch), &merge); err != nil {
			w.t.Fatal(err)
		}
		_, err := w.registers(i).Change(w.t.Context(), w.org, service.Patch{
			Kind: kind, ID: id, ValidFrom: from, By: "ro_test", Match: service.Match{Any: true}, Merge: merge, Decode: decoded(kind),
		})
		if err != nil {
			w.t.Fatalf("%s %s: %v", kind, patch, err)
		}
	}
}

func (w *twice) plan(p service.PlanRecord) {
	w.t.Helper()
	w.now = w.now.Add(time.Minute)
	p.CreatedAt = w.now
	for _, h := range w.histories {
		err := h.Change(w.t.Context(), w.org, func(ctx context.Context, r service.Recorder) error {
			stamp, err := r.Turn(ctx, func() time.Time { return w.now })
			if err != nil {
				return err
			}
			p.CreatedAt = stamp.RecordedAt
			return r.RecordPlan(ctx, p)
		})
		if err != nil {
			w.t.Fatal(err)
		}
	}
	w.known[fleet.KindPlan] = append(w.known[fleet.KindPlan], p.ID)
}

func (w *twice) one(kind fleet.Kind) uuid.UUID {
	return w.known[kind][w.random.IntN(len(w.known[kind]))]
}

// past is a day of the last two years.
func (w *twice) past() string {
	return noon.AddDate(0, 0, -w.random.IntN(700)).Truncate(24 * time.Hour).Format(time.RFC3339)
}

// longSheet is more than a gist takes.
var longSheet = func() string {
	points := make([]string, 50)
	for i := range points {
		points[i] = fmt.Sprintf(`{"stretch": %g, "load_n": %d}`, 0.004*float64(i+1), 1000*(i+1))
	}
	return strings.Join(points, ", ")
}()

// begin records what step needs.
func (w *twice) begin() {
	w.t.Helper()
	for range 3 {
		w.add(service.Draft{Kind: fleet.KindVessel, ValidFrom: noon.AddDate(-2, 0, 0)}, tern)
	}
	w.add(service.Draft{Kind: fleet.KindGear, Under: w.one(fleet.KindVessel)}, `{"kind": "knife"}`)
	w.add(service.Draft{Kind: fleet.KindInspection, Under: w.one(fleet.KindGear)}, `{"inspected_at": "2025-06-01T00:00:00Z", "inspector": "mate", "verdict": "fit"}`)
	w.add(service.Draft{Kind: fleet.KindIncident}, fmt.Sprintf(`{"vessel_id": %q, "occurred_at": "2025-06-01T00:00:00Z", "kind": "other", "severity": "serious", "what_happened": "x"}`, w.one(fleet.KindVessel)))
}

// step records one thing or another.
func (w *twice) step() {
	pick := func(words ...string) string { return words[w.random.IntN(len(words))] }
	from := time.Time{}
	if w.random.IntN(3) == 0 {
		from = noon.AddDate(0, 0, -w.random.IntN(700))
	}
	switch w.random.IntN(16) {
	case 0, 1:
		item := pick(`{"kind": "knife"}`, `{"kind": "light"}`, `{"kind": "float", "float": {"buoyancy_n": 300}}`, `{"kind": "shackle", "shackle": {"body_mm": 16}}`,
			`{"kind": "rode", "first_used_on": "2020-01-02", "rode": {"construction": "three_strand", "diameter_mm": 22, "length_m": 183}}`,
			`{"kind": "rode", "made_on": "2012-01-02", "name": "a|b", "rode": {"construction": "three_strand", "diameter_mm": 22, "length_m": 183, "breaking_load_n": 90000, "data_sheet": [`+longSheet+`]}}`,
			`{"kind": "rode", "rode": {"construction": "three_strand", "diameter_mm": 20, "length_m": 150, "age_years": 9.5, "chafed_share": 0.12}}`)
		w.add(service.Draft{Kind: fleet.KindGear, Under: w.one(fleet.KindVessel), ValidFrom: from}, item)
	case 2:
		w.change(fleet.KindGear, from, pick(`{"spare": true}`, `{"spare": null}`, `{"storm_hours": 250}`, `{"fatigue_share": 0.625}`, `{"retired_at": "`+w.past()+`", "retired_why": "worn"}`,
			`{"vessel_id": "`+w.one(fleet.KindVessel).String()+`"}`, `{"vessel_id": null}`))
	case 3, 4:
		chafed := pick("", `, "chafed_share": 0.02`, `, "chafed_share": 0.2`)
		w.add(service.Draft{Kind: fleet.KindInspection, Under: w.one(fleet.KindGear), ValidFrom: from},
			`{"inspected_at": "`+w.past()+`", "inspector": "mate", "verdict": "`+pick("fit", "watch", "repair")+`"`+chafed+`}`)
	case 5:
		w.change(fleet.KindInspection, from, pick(`{"inspected_at": "`+w.past()+`"}`, `{"verdict": "fit"}`, `{"chafed_share": null}`))
	case 6:
		w.add(service.Draft{Kind: fleet.KindDrill, Under: w.one(fleet.KindVessel)}, `{"held_at": "`+w.past()+`", "crew_count": 3, "kind": "`+pick("briefing", "full", "rigging")+`"}`)
	case 7:
		w.add(service.Draft{Kind: fleet.KindIncident}, fmt.Sprintf(`{"vessel_id": %q, "occurred_at": %q, "kind": "other", "severity": %q, "what_happened": "x"}`, w.one(fleet.KindVessel), w.past(), pick("minor", "serious")))
	case 8:
		w.change(fleet.KindIncident, time.Time{}, pick(`{"closed_at": "2026-01-12T11:00:00Z", "closed_how": "repaired"}`, `{"grounds_vessel": true}`, `{"grounds_vessel": false}`, `{"severity": "minor"}`))
	case 9:
		p := aPlan()
		p.Intent = []planner.Intent{planner.RideOutStorm, planner.RideOutStorm, planner.Drill}[w.random.IntN(3)]
		p.VesselID, p.Inputs, p.Answer = w.one(fleet.KindVessel), []byte(`{"intent": "ride_out_storm"}`), w.foreseeing()
		p.Facts = readiness.Plan{WindKt: float64(50 + w.random.IntN(4)), HsM: 8, CanopyVerdict: "suits", RodeVerdict: pick("suits", "short"), Part: "rode", Use: 0.9, UseHigh: 1.1, PartVerdict: "within", Outfit: []string{}}
		if n := len(w.known[fleet.KindPlan]); n > 0 && w.random.IntN(2) == 0 {
			p.Supersedes = w.one(fleet.KindPlan)
		}
		w.plan(p)
	case 10:
		w.change(fleet.KindVessel, from, pick(`{"status": "laid_up"}`, `{"status": "in_service"}`, `{"name": "Tern|or not", "design_category": "C"}`))
	default:
		w.outcome(pick)
	}
}

// board asks one of the histories for the whole board.
func (w *twice) board(i int, at service.AsOf) string {
	w.t.Helper()
	page, _, err := w.registers(i).Board(w.t.Context(), w.org, service.BoardQuery{AsOf: at, Limit: 200})
	if err != nil {
		w.t.Fatal(err)
	}
	return written(w.t, page.Items)
}

// fleet asks one of the histories for the whole fleet in short.
func (w *twice) fleet(i int, at service.AsOf) string {
	w.t.Helper()
	summary, _, err := w.registers(i).Fleet(w.t.Context(), w.org, at)
	if err != nil {
		w.t.Fatal(err)
	}
	return written(w.t, summary)
}

// tally is what the board counts, with what falls due in a year and a half.
func (w *twice) tally(i int, at service.AsOf) string {
	w.t.Helper()
	overview, _, err := w.registers(i).Overview(w.t.Context(), w.org, service.BoardQuery{AsOf: at, Days: 540, Limit: 1})
	if err != nil {
		w.t.Fatal(err)
	}
	return written(w.t, overview.Tally)
}

func written(t *testing.T, v any) string {
	t.Helper()
	text, err := json.MarshalIndent(v, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// What the statements read of a fleet is what one reads who walks over everything that was recorded: at any two times, and
// the same again when more has been recorded.
func TestReadinessAgreesWithAWalkOverEverything(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	alone, err := store.Open(t.Context(), store.Config{URL: url, MaxConns: 1})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(alone.Close)
	for seed := range uint64(6) {
		w := &twice{
			t: t, org: anOrg(t, s), now: noon, random: rand.New(rand.NewPCG(seed, 1)),
			histories: [2]service.History{s, &servicetest.History{}}, known: map[fleet.Kind][]uuid.UUID{},
		}
		w.begin()
		var asked []service.AsOf
		var answers []string
		for range 60 {
			w.step()
			at := service.AsOf{ValidAt: noon.AddDate(0, 0, 30-w.random.IntN(760)), KnownAt: w.now.Add(-time.Duration(w.random.IntN(60)) * time.Minute)}
			if w.random.IntN(3) == 0 {
				at = service.AsOf{ValidAt: w.now, KnownAt: w.now}
			}
			stored, walked := w.everything(0, at), w.everything(1, at)
			if stored != walked {
				t.Fatalf("seed %d, as of %+v: the store reads\n%s\nand the walk\n%s", seed, at, stored, walked)
			}
			if quick, walked := w.fleet(0, at), w.fleet(1, at); quick != walked {
				t.Fatalf("seed %d, as of %+v: the store reads of the fleet\n%s\nand the walk\n%s", seed, at, quick, walked)
			}
			if quick, walked := w.tally(0, at), w.tally(1, at); quick != walked {
				t.Fatalf("seed %d, as of %+v: the store tallies\n%s\nand the walk\n%s", seed, at, quick, walked)
			}
			oneByOne := service.Registers{History: alone, Clock: func() time.Time { return w.now }}
			if again, _, err := oneByOne.Fleet(t.Context(), w.org, at); err != nil || written(t, again) != w.fleet(0, at) {
				t.Fatalf("seed %d, as of %+v: on one connection it reads\n%s, error %v", seed, at, written(t, again), err)
			}
			asked, answers = append(asked, at), append(answers, stored)
		}
		for i, at := range asked {
			if again := w.everything(0, at); again != answers[i] {
				t.Fatalf("seed %d, as of %+v: asked again it reads\n%s\nand was\n%s", seed, at, again, answers[i])
			}
		}
	}
}

func TestFactsOfPlansAreAppendOnly(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	for _, statement := range []string{
		`UPDATE plan_facts SET engine = 'x'`, `DELETE FROM plan_facts`, `TRUNCATE plan_facts`,
		`UPDATE foreseen SET wear = '[]'`, `DELETE FROM foreseen`, `TRUNCATE foreseen`,
		`UPDATE deployed_gear SET gear_id = org_id`, `DELETE FROM deployed_gear`, `TRUNCATE deployed_gear`,
	} {
		if _, err := tryAsk(t, url, statement); err == nil {
			t.Errorf("%s: got no error", statement)
		}
	}
}

// What was recorded before versions had gists is judged alike after it.
func TestFleetRecordedBeforeGists(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	w := &twice{
		t: t, org: anOrg(t, s), now: noon, random: rand.New(rand.NewPCG(1, 1)),
		histories: [2]service.History{s, &servicetest.History{}}, known: map[fleet.Kind][]uuid.UUID{},
	}
	w.add(service.Draft{Kind: fleet.KindVessel, ValidFrom: noon.AddDate(-2, 0, 0)}, tern)
	w.add(service.Draft{Kind: fleet.KindGear, Under: w.one(fleet.KindVessel)}, `{"kind": "rode", "rode": {"construction": "three_strand", "diameter_mm": 20, "length_m": 150, "chafed_share": 0.2}}`)
	w.add(service.Draft{Kind: fleet.KindInspection, Under: w.one(fleet.KindGear)}, `{"inspected_at": "2025-12-01T00:00:00Z", "inspector": "mate", "verdict": "repair"}`)
	w.add(service.Draft{Kind: fleet.KindDrill, Under: w.one(fleet.KindVessel)}, `{"held_at": "2025-12-01T00:00:00Z", "crew_count": 3, "kind": "full"}`)
	at := service.AsOf{ValidAt: w.now, KnownAt: w.now}
	before := w.fleet(0, at)
	if before != w.fleet(1, at) || !strings.Contains(before, "inspection_failed") || strings.Contains(before, "drill_missing") {
		t.Fatalf("the fleet is %s", before)
	}
	s.Close()
	down(t, url, stepsBackTo(t, "keep_gists"))
	migrate(t, url)
	w.histories[0] = storetest.Open(t, url)
	if after := w.fleet(0, at); after != before {
		t.Errorf("after the migration the fleet is %s, and was %s", after, before)
	}
}
