package store_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/store"
	"rideout/store/storetest"
)

// aDrill is a drill with one person in it.
func aDrill(person uuid.UUID, text string) *fleet.Drill {
	return &fleet.Drill{
		HeldAt: time.Now().Add(-time.Hour).UTC().Truncate(time.Second), Kind: "full", CrewCount: 1,
		Persons: []fleet.Person{{PersonID: person, Role: "crew", Text: text}},
	}
}

func registers(s *store.Store) *service.Registers {
	return &service.Registers{History: s, Clock: time.Now, NewID: uuid.New}
}

func addDrill(t *testing.T, r *service.Registers, org service.OrgID, vessel uuid.UUID, claim service.Claim, drill *fleet.Drill) string {
	t.Helper()
	answer, _, err := r.Add(t.Context(), org, claim, service.Draft{Kind: fleet.KindDrill, Under: vessel, By: "ro_test", Entity: drill})
	if err != nil {
		t.Fatal(err)
	}
	return string(answer.Body)
}

// columns that hold text, of all tables.
const selectTextColumns = `
SELECT format('SELECT count(*) FROM %I WHERE position(%L IN %I::text) > 0', table_name, $1::text, column_name)
FROM information_schema.columns
WHERE table_schema = 'public' AND table_name IN (SELECT table_name FROM information_schema.tables WHERE table_type = 'BASE TABLE')
    AND data_type IN ('text', 'json', 'jsonb', 'character varying')
UNION ALL
SELECT format('SELECT count(*) FROM %I WHERE position(convert_to(%L, ''UTF8'') IN %I) > 0', table_name, $1::text, column_name)
FROM information_schema.columns
WHERE table_schema = 'public' AND table_name IN (SELECT table_name FROM information_schema.tables WHERE table_type = 'BASE TABLE')
    AND data_type = 'bytea'`

// holds counts the rows, of all tables, that hold a word somewhere.
func holds(t *testing.T, url, word string) (n int) {
	t.Helper()
	for _, sql := range ask(t, url, selectTextColumns, word) {
		if ask(t, url, sql)[0] != "0" {
			n++
		}
	}
	return n
}

func TestErasedTextIsNowhere(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org, other := anOrg(t, s), anOrg(t, s)
	r := registers(s)
	w, _ := aWitness(t, s)
	person := uuid.New()
	const word = "Annabelle"
	claim := aClaim("drill")
	var vessel uuid.UUID
	for _, of := range []service.OrgID{org, other} { // the same id means two people in two organisations
		vessel = aVesselOf(t, r, of)
		if body := addDrill(t, r, of, vessel, claim, aDrill(person, word+" of the foredeck")); !strings.Contains(body, word) {
			t.Fatalf("answered %s", body)
		}
	}
	if n := holds(t, url, word); n != 1 {
		t.Fatalf("%d columns hold the text, want one", n)
	}
	before, err := w.Checkpoint(t.Context(), org)
	if err != nil {
		t.Fatal(err)
	}
	for _, of := range []service.OrgID{org, other} {
		e, err := r.Erase(t.Context(), of, person, "ro_test")
		if err != nil || e.Texts != 1 {
			t.Fatalf("%+v, %v", e, err)
		}
		again, err := r.Erase(t.Context(), of, person, "ro_test")
		if err != nil || again.Texts != 0 || !again.ErasedAt.Equal(e.ErasedAt) {
			t.Errorf("again: %+v, %v", again, err)
		}
	}
	if n := holds(t, url, word); n != 0 {
		t.Errorf("%d columns still hold the text", n)
	}
	wantRows(t, url, `personal_texts WHERE salt IS NOT NULL OR text IS NOT NULL`, 0)
	wantRows(t, url, `idempotency_claims WHERE request_sha256 <> repeat('0', 64) AND key = 'drill'`, 0)
	page, _, err := r.List(t.Context(), other, service.RecordQuery{Kind: fleet.KindDrill, Under: vessel, Limit: 10})
	if err != nil || len(page.Items) != 1 || !strings.Contains(string(page.Items[0].Body), `"erased_at"`) || strings.Contains(string(page.Items[0].Body), word) {
		t.Errorf("read after it: %+v, %v", page, err)
	}
	k := kept{store: s, url: url, org: org, witness: w, checkpoint: before.Checkpoint}
	if report := k.audited(t); !report.Sound() || report.Bodies != 3 { // vessel, drill, erasure
		t.Errorf("%+v", report)
	}
	var told *service.Error
	if _, err := r.Erase(t.Context(), org, uuid.New(), ""); !errors.As(err, &told) || told.Kind != service.KindNotFound {
		t.Errorf("a person nothing is written about: %v", err)
	}
}

// bracesSHA256 is of {}.
const bracesSHA256 = "44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a"

func aVesselOf(t *testing.T, r *service.Registers, org service.OrgID) uuid.UUID {
	t.Helper()
	id := uuid.New()
	err := r.History.Change(t.Context(), org, func(ctx context.Context, rec service.Recorder) error {
		stamp, err := rec.Turn(ctx, time.Now)
		if err != nil {
			return err
		}
		return rec.Record(ctx, service.Version{
			Kind: fleet.KindVessel, ID: id, Version: 1, Seq: stamp.Seq, RecordedAt: stamp.RecordedAt, ValidFrom: stamp.RecordedAt.Add(-48 * time.Hour),
			By: "ro_test", Body: []byte(`{}`), BodySHA256: bracesSHA256,
		})
	})
	if err != nil {
		t.Fatal(err)
	}
	return id
}

func TestPersonalTextsAreErasedOrStay(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org := anOrg(t, s)
	r := registers(s)
	person := uuid.New()
	addDrill(t, r, org, aVesselOf(t, r, org), aClaim("one"), aDrill(person, "Bo Lind"))
	refused := func(sql string) {
		t.Helper()
		if _, err := tryAsk(t, url, sql); err == nil {
			t.Errorf("%s: want it refused", sql)
		}
	}
	for _, sql := range []string{
		`UPDATE personal_texts SET text = 'Cy'`, `UPDATE personal_texts SET person_id = org_id, text = NULL, salt = NULL, erased_at = now()`,
		`UPDATE personal_texts SET text = NULL, erased_at = now()`, `UPDATE personal_texts SET salt = NULL`, `DELETE FROM personal_texts`, `TRUNCATE personal_texts`,
	} {
		refused(sql)
	}
	if _, err := r.Erase(t.Context(), org, person, ""); err != nil {
		t.Fatal(err)
	}
	refused(`UPDATE personal_texts SET text = 'Bo Lind', salt = sha256('x'), erased_at = NULL`)
}
