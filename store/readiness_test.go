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
	"rideout/store/storetest"
)

// A fleet's board read by the store's statements is, as of any two times, what walking over everything in memory gives.
func TestBoardIsWhatWalkingOverEverythingGives(t *testing.T) {
	t.Parallel()
	kept := storetest.New(t)
	org := anOrg(t, kept)
	inStore, inMemory := newLife(t, kept, org), newLife(t, &servicetest.History{}, org)
	for _, l := range []*life{inStore, inMemory} {
		l.live(120)
	}
	findings := map[readiness.Verdict]int{}
	for valid := -8; valid <= 14; valid += 4 {
		for known := 0; known <= 3; known++ {
			at := service.AsOf{ValidAt: noon.AddDate(0, 0, valid), KnownAt: noon.Add(time.Duration(known) * 40 * time.Hour)}
			for _, q := range []service.BoardQuery{{Limit: 50}, {Limit: 1, Verdict: readiness.NotReady}, {Limit: 2, Verdict: readiness.WithReservations}} {
				q.AsOf = at
				got, want := inStore.board(q), inMemory.board(q)
				if asJSON(t, got) != asJSON(t, want) {
					t.Fatalf("%+v:\n%s\nwant\n%s", q, asJSON(t, got), asJSON(t, want))
				}
				for _, r := range got.Items {
					findings[r.Verdict] += len(r.Findings)
				}
			}
		}
	}
	if findings[readiness.NotReady] == 0 {
		t.Errorf("findings %v: nothing was compared", findings)
	}
}

func asJSON(t *testing.T, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// life is what happens to a fleet: the same in each history it is lived in.
type life struct {
	t         *testing.T
	registers *service.Registers
	org       service.OrgID
	now       time.Time
	rand      *rand.Rand
	made      map[fleet.Kind][]uuid.UUID
}

func newLife(t *testing.T, h service.History, org service.OrgID) *life {
	l := &life{t: t, org: org, now: noon, rand: rand.New(rand.NewPCG(7, 11)), made: map[fleet.Kind][]uuid.UUID{}}
	l.registers = &service.Registers{History: h, Clock: func() time.Time { return l.now }, NewID: l.id}
	return l
}

// id names things in an order of their own, so that lists are alike.
func (l *life) id() uuid.UUID {
	var id uuid.UUID
	for i := range id {
		id[i] = byte(l.rand.Uint32())
	}
	id[6], id[8] = 0x70|id[6]&0x0f, 0x80|id[8]&0x3f
	return id
}

func (l *life) live(events int) {
	l.t.Helper()
	for range 4 {
		l.add(fleet.KindVessel, uuid.Nil, tern, "")
	}
	for range events {
		l.now = l.now.Add(time.Hour)
		switch l.rand.IntN(9) {
		case 0, 1:
			l.add(fleet.KindGear, uuid.Nil, fmt.Sprintf(`{"vessel_id": %q, %s}`, l.any(fleet.KindVessel), l.one(
				`"kind": "knife"`, `"kind": "light", "spare": true`, `"kind": "float", "float": {"buoyancy_n": 300}`,
				`"kind": "rode", "first_used_on": "2015-12-30", "rode": {"construction": "three_strand", "diameter_mm": 22, "length_m": 183}`,
				`"kind": "canopy", "canopy": {"shape": "flat_circular", "diameter_m": 5.5}`)), l.past())
		case 2:
			l.add(fleet.KindInspection, l.any(fleet.KindGear), fmt.Sprintf(`{"inspected_at": %q, "inspector": "mate", "verdict": %q%s}`,
				l.past(), l.one("fit", "watch", "repair", "retire"), l.one("", `, "chafed_share": 0.2`)), "")
		case 3:
			l.add(fleet.KindDrill, l.any(fleet.KindVessel), fmt.Sprintf(`{"held_at": %q, "kind": %q, "crew_count": 4}`, l.past(), l.one("briefing", "full", "rigging")), "")
		case 4:
			l.add(fleet.KindIncident, uuid.Nil, fmt.Sprintf(`{"vessel_id": %q, "occurred_at": %q, "kind": "rode_chafed", "severity": %q, "what_happened": "It chafed."}`,
				l.any(fleet.KindVessel), l.past(), l.one("minor", "serious")), "")
		case 5:
			l.plan()
		case 6:
			l.change(fleet.KindGear, fmt.Sprintf(`{"vessel_id": %q}`, l.any(fleet.KindVessel)), l.past())
		case 7:
			l.change(fleet.KindGear, fmt.Sprintf(`{"retired_at": %q, "retired_why": "worn"}`, l.past()), l.past())
			l.change(fleet.KindInspection, fmt.Sprintf(`{"verdict": %q, "chafed_share": null}`, l.one("fit", "repair")), "")
		case 8:
			l.change(fleet.KindIncident, fmt.Sprintf(`{"closed_at": %q, "closed_how": "spliced anew", "vessel_id": %q}`, l.now.Format(time.RFC3339), l.any(fleet.KindVessel)), "")
			l.change(fleet.KindVessel, `{"status": "`+l.one("in_service", "laid_up")+`"}`, l.past())
		}
	}
}

func (l *life) one(of ...string) string { return of[l.rand.IntN(len(of))] }

// past is a time up to ten days ago.
func (l *life) past() string {
	return l.now.Add(-time.Duration(l.rand.IntN(240)) * time.Hour).UTC().Format(time.RFC3339)
}

// any is one thing of a kind; uuid.Nil where there is none.
func (l *life) any(kind fleet.Kind) uuid.UUID {
	if len(l.made[kind]) == 0 {
		return uuid.Nil
	}
	return l.made[kind][l.rand.IntN(len(l.made[kind]))]
}

func (l *life) add(kind fleet.Kind, under uuid.UUID, attributes, from string) {
	l.t.Helper()
	if fleet.Describe(kind).Under != "" && under == uuid.Nil {
		return
	}
	entity, err := decoded(kind)([]byte(attributes), l.now)
	if err != nil {
		l.t.Fatal(err)
	}
	l.now = l.now.Add(time.Second)
	answer, _, err := l.registers.Add(l.t.Context(), l.org, aClaim(l.id().String()), service.Draft{Kind: kind, Under: under, ValidFrom: at(l.t, from), By: "ro_test", Entity: entity})
	if err != nil {
		l.t.Fatalf("%s %s: %v", kind, attributes, err)
	}
	l.made[kind] = append(l.made[kind], idOf(l.t, answer.Body))
}

// change patches one thing of a kind, if there is any.
func (l *life) change(kind fleet.Kind, patch, from string) {
	l.t.Helper()
	id := l.any(kind)
	if id == uuid.Nil {
		return
	}
	var merge any
	if err := json.Unmarshal([]byte(patch), &merge); err != nil {
		l.t.Fatal(err)
	}
	l.now = l.now.Add(time.Second)
	_, err := l.registers.Change(l.t.Context(), l.org, service.Patch{
		Kind: kind, ID: id, ValidFrom: at(l.t, from), By: "ro_test", Match: whichever, Merge: merge, Decode: decoded(kind),
	})
	if err != nil {
		l.t.Fatalf("%s %s: %v", kind, patch, err)
	}
}

// plan records a plan for a vessel; some take another's place.
func (l *life) plan() {
	l.t.Helper()
	p := aPlan()
	p.ID, p.VesselID, p.Intent = l.id(), l.any(fleet.KindVessel), planner.Intent(l.one("ride_out_storm", "ride_out_storm", "drill"))
	p.Facts = readiness.Plan{
		WindKt: 50 + float64(l.rand.IntN(6)), HsM: 8, CanopyVerdict: l.one("suits", "small"), RodeVerdict: "suits",
		Part: "rode", Use: 0.9, PartVerdict: "marginal", Outfit: []string{l.one("float", "rode")},
	}
	if l.rand.IntN(2) == 0 {
		p.Supersedes = l.any(fleet.KindPlan)
	}
	err := l.registers.History.Change(l.t.Context(), l.org, func(ctx context.Context, r service.Recorder) error {
		stamp, err := r.Turn(ctx, func() time.Time { return l.now })
		if err != nil {
			return err
		}
		p.CreatedAt = stamp.RecordedAt
		return r.RecordPlan(ctx, p)
	})
	if err != nil {
		l.t.Fatal(err)
	}
	l.made[fleet.KindPlan] = append(l.made[fleet.KindPlan], p.ID)
}

func (l *life) board(q service.BoardQuery) service.BoardPage {
	l.t.Helper()
	page, _, err := l.registers.Board(l.t.Context(), l.org, q)
	if err != nil {
		l.t.Fatal(err)
	}
	return page
}

// A plan of another organisation is nobody's here.
func TestStatesKeepToTheOrganisation(t *testing.T) {
	t.Parallel()
	kept := storetest.New(t)
	us, them := newLife(t, kept, anOrg(t, kept)), newLife(t, kept, anOrg(t, kept))
	for _, l := range []*life{us, them} {
		l.add(fleet.KindVessel, uuid.Nil, strings.Replace(tern, "Tern", "Auk", 1), "")
	}
	them.plan()
	us.now, them.now = us.now.Add(time.Hour), them.now.Add(time.Hour)
	page := us.board(service.BoardQuery{Limit: 50})
	if len(page.Items) != 1 || page.Items[0].Findings[0].Code != "plan_missing" {
		t.Errorf("got %+v, want one vessel without a plan", page.Items)
	}
}
