package store_test

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/store"
	"rideout/store/storetest"
)

func keysOf(s *store.Store, now time.Time) *service.Keys {
	return &service.Keys{History: s, Clock: func() time.Time { return now }, NewID: uuid.New}
}

// admin may do everything.
func admin() service.Caller { return service.Caller{By: "ro_testtest", Scopes: service.AllScopes()} }

// aKey makes a key, which may do everything when nothing is said.
func aKey(t *testing.T, s *store.Store, org service.OrgID, d service.KeyDraft) (service.KeyRecord, service.Key) {
	t.Helper()
	if d.Scopes == nil {
		d.Scopes = service.AllScopes()
	}
	made, repeated, err := keysOf(s, noon).Create(t.Context(), org, admin(), aClaim(uuid.NewString()), d)
	if err != nil || repeated {
		t.Fatalf("make a key: repeated %v, error %v", repeated, err)
	}
	_, k, err := s.KeyByHash(t.Context(), made.Key.Hash())
	if err != nil {
		t.Fatal(err)
	}
	return k, made.Key
}

func TestKeyring(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org, other := anOrg(t, s), anOrg(t, s)
	k, key := aKey(t, s, org, service.KeyDraft{Label: "booking", Scopes: []service.Scope{service.ScopePlansWrite, service.ScopePlansRead}, ExpiresAt: noon.AddDate(0, 3, 0)})
	want := service.KeyRecord{
		ID: k.ID, Version: 1, Name: key.Name(), Label: "booking", Scopes: []service.Scope{"plans:read", "plans:write"},
		CreatedAt: noon, CreatedBy: "ro_testtest", ExpiresAt: noon.AddDate(0, 3, 0),
	}
	if !reflect.DeepEqual(k, want) {
		t.Errorf("kept %+v, want %+v", k, want)
	}
	_, theirs := aKey(t, s, other, service.KeyDraft{Label: "theirs"})
	for key, owner := range map[service.Key]service.OrgID{key: org, theirs: other} {
		if got, _, err := s.KeyByHash(t.Context(), key.Hash()); err != nil || got != owner {
			t.Errorf("%v: got %v, error %v, want %v", key, got, err, owner)
		}
	}
	for _, hash := range [][]byte{service.NewKey().Hash(), nil, {}} {
		if got, _, err := s.KeyByHash(t.Context(), hash); !errors.Is(err, service.ErrNotFound) {
			t.Errorf("hash %x: got %v, error %v, want %v", hash, got, err, service.ErrNotFound)
		}
	}
	if got, err := keysOf(s, noon).Get(t.Context(), other, k.ID); kindOf(err) != service.KindNotFound {
		t.Errorf("another's key: got %+v, %v", got, err)
	}
	if _, err := keysOf(s, noon).Revoke(t.Context(), other, admin(), k.ID); kindOf(err) != service.KindNotFound {
		t.Errorf("revoke another's key: got %v", err)
	}
	if _, err := keysOf(s, noon).Revoke(t.Context(), org, admin(), k.ID); err != nil {
		t.Fatal(err)
	}
	if _, _, err := s.KeyByHash(t.Context(), key.Hash()); !errors.Is(err, service.ErrNotFound) {
		t.Errorf("a revoked key: got %v, want %v", err, service.ErrNotFound)
	}
	if _, err := tryAsk(t, url, `INSERT INTO keys (org_id, key_hash, label, version, scopes, created_by) VALUES ($1, 'ro_a_key_as_it_is', '', 1, '{admin}', '')`, org); err == nil {
		t.Error("a key instead of its hash: got no error")
	}
	if _, err := tryAsk(t, url, `INSERT INTO keys (org_id, key_hash, label, version, scopes, created_by) VALUES ($1, sha256('x'), '', 1, '{everything}', '')`, org); err == nil {
		t.Error("a scope there is not: got no error")
	}
}

func kindOf(err error) service.Kind {
	if known := (*service.Error)(nil); errors.As(err, &known) {
		return known.Kind
	}
	return ""
}

func TestUseOfAKeyIsNotedOnceAMinute(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org := anOrg(t, s)
	k, key := aKey(t, s, org, service.KeyDraft{Label: "used"})
	ask(t, url, `UPDATE keys SET name = NULL`) // as of a key made before names were kept
	for _, c := range []struct{ at, want time.Duration }{{0, 0}, {time.Second, 0}, {59 * time.Second, 0}, {time.Minute, time.Minute}, {30 * time.Second, time.Minute}} {
		if err := s.KeyUsed(t.Context(), org, k.ID, key.Name(), noon.Add(c.at)); err != nil {
			t.Fatal(err)
		}
		if _, got, err := s.KeyByHash(t.Context(), key.Hash()); err != nil || !got.LastUsedAt.Equal(noon.Add(c.want)) || got.Name != key.Name() {
			t.Errorf("used after %v: noted %v of %q, error %v, want %v", c.at, got.LastUsedAt, got.Name, err, noon.Add(c.want))
		}
	}
	if err := s.KeyUsed(t.Context(), anOrg(t, s), k.ID, "", noon.Add(time.Hour)); err != nil {
		t.Error(err)
	}
	if _, got, _ := s.KeyByHash(t.Context(), key.Hash()); !got.LastUsedAt.Equal(noon.Add(time.Minute)) {
		t.Errorf("another organisation noted a use: %v", got.LastUsedAt)
	}
}

func TestKeysAreListedByPages(t *testing.T) {
	t.Parallel()
	s := storetest.New(t)
	org := anOrg(t, s)
	aKey(t, s, anOrg(t, s), service.KeyDraft{Label: "theirs"})
	want := []uuid.UUID{}
	for range 5 {
		k, _ := aKey(t, s, org, service.KeyDraft{Label: "mine"})
		want = append(want, k.ID)
	}
	slices.SortFunc(want, func(a, b uuid.UUID) int { return bytes.Compare(b[:], a[:]) })
	var got, back []uuid.UUID
	place := &service.RecordPlace{}
	var last service.KeyPage
	for place != nil {
		page, err := keysOf(s, noon).List(t.Context(), org, *place, 2)
		if err != nil {
			t.Fatal(err)
		}
		for _, k := range page.Items {
			got = append(got, k.ID)
		}
		last, place = page, page.Next
	}
	for place = last.Prev; place != nil; {
		page, err := keysOf(s, noon).List(t.Context(), org, *place, 2)
		if err != nil {
			t.Fatal(err)
		}
		for _, k := range slices.Backward(page.Items) {
			back = append(back, k.ID)
		}
		place = page.Prev
	}
	slices.Reverse(back)
	if !slices.Equal(got, want) || !slices.Equal(back, want[:4]) {
		t.Errorf("got %v and back %v, want %v", got, back, want)
	}
}

// However many revoke at once, one key that makes keys is left.
func TestLastAdminKeyOutlivesARace(t *testing.T) {
	t.Parallel()
	s := storetest.New(t)
	org := anOrg(t, s)
	var keys []service.Key
	outcomes := make(chan error)
	for range 6 {
		_, key := aKey(t, s, org, service.KeyDraft{Label: "admin"})
		keys = append(keys, key)
	}
	for _, key := range keys {
		_, k, err := s.KeyByHash(t.Context(), key.Hash())
		if err != nil {
			t.Fatal(err)
		}
		go func() {
			_, err := keysOf(s, noon).Revoke(t.Context(), org, admin(), k.ID)
			outcomes <- err
		}()
	}
	refused := 0
	for range keys {
		switch err := <-outcomes; kindOf(err) {
		case service.KindLastAdmin:
			refused++
		case "":
			if err != nil {
				t.Error(err)
			}
		}
	}
	left := 0
	for _, key := range keys {
		if _, _, err := s.KeyByHash(t.Context(), key.Hash()); err == nil {
			left++
		}
	}
	if refused != 1 || left != 1 {
		t.Errorf("%d were refused and %d are left, want 1 and 1", refused, left)
	}
}

// What becomes of a key is noted like every change, with the bytes it was noted by, and without the key.
func TestKeysAreNoted(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org := anOrg(t, s)
	first, _ := aKey(t, s, org, service.KeyDraft{Label: "first"})
	if _, _, err := keysOf(s, noon.Add(time.Hour)).Rotate(t.Context(), org, admin(), aClaim("rotate"), service.KeyRotation{ID: first.ID}); err != nil {
		t.Fatal(err)
	}
	if _, err := keysOf(s, noon.Add(2*time.Hour)).Revoke(t.Context(), org, admin(), first.ID); err != nil {
		t.Fatal(err)
	}
	if _, err := keysOf(s, noon.Add(2*time.Hour)).Revoke(t.Context(), org, admin(), first.ID); err != nil {
		t.Fatal(err) // again: nothing more is noted
	}
	got := ask(t, url, `
SELECT concat_ws(' ', c.seq, c.entity_id = $1, c.version, c.by, c.body_sha256 = encode(sha256(convert_to(r.body::text, 'UTF8')), 'hex'), r.body ->> 'label',
    r.body ->> 'expires_at', r.body ->> 'revoked_at', r.body ->> 'rotated_from' = $1::text)
FROM changes c JOIN records r ON r.org_id = c.org_id AND r.seq = c.seq WHERE c.kind = 'key' ORDER BY c.seq`, first.ID)
	want := []string{
		"1 t 1 ro_testtest t first",
		"2 t 2 ro_testtest t first 2026-01-13T13:00:00.123456Z",
		"3 f 1 ro_testtest t first t",
		"4 t 3 ro_testtest t first 2026-01-13T13:00:00.123456Z 2026-01-12T14:00:00.123456Z",
	}
	if !slices.Equal(got, want) {
		t.Errorf("noted\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if got := ask(t, url, `SELECT seq FROM organisation_log WHERE org_id = $1`, org); got[0] != "4" {
		t.Errorf("the log is at %s, want 4: its numbers have no gaps", got[0])
	}
}

func TestManyAddOneOrganisation(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	got := make(chan service.OrgID)
	for range 8 {
		go func() {
			org, err := s.AddOrganisation(t.Context(), "Hamna sailing school")
			if err != nil {
				t.Error(err)
			}
			got <- org
		}()
	}
	first := <-got
	for range 7 {
		if org := <-got; org != first {
			t.Errorf("got %v and %v for one name", org, first)
		}
	}
	wantRows(t, url, "organisations", 1)
}

func hashOf(text string) []byte {
	sum := sha256.Sum256([]byte(text))
	return sum[:]
}

// Keys made before there were scopes go on as they were, but for what reaches beyond their organisation; and on the way
// back, where every key may do everything, one that might not opens nothing.
func TestKeysFromBeforeScopes(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	org, old := anOrg(t, storetest.Open(t, url)), service.NewKey()
	toKeysWithoutScopes := int(newest(t)) - 7
	down(t, url, toKeysWithoutScopes)
	ask(t, url, `INSERT INTO keys (org_id, key_hash, label) VALUES ($1, $2, 'old')`, org, old.Hash())
	migrate(t, url)

	s := storetest.Open(t, url)
	_, k, err := s.KeyByHash(t.Context(), old.Hash())
	if err != nil || !slices.Equal(k.Scopes, service.EverydayScopes()) || k.Version != 1 || k.Name != "" {
		t.Errorf("the old key: %+v, error %v", k, err)
	}
	if _, err := keysOf(s, time.Now()).Revoke(t.Context(), org, admin(), k.ID); kindOf(err) != service.KindLastAdmin {
		t.Errorf("revoke the only key: %v", err)
	}
	aKey(t, s, org, service.KeyDraft{Label: "everything"})
	aKey(t, s, org, service.KeyDraft{Label: "reader", Scopes: []service.Scope{service.ScopePlansRead}})
	aKey(t, s, org, service.KeyDraft{Label: "ends", ExpiresAt: noon.AddDate(1, 0, 0)})
	s.Close()
	down(t, url, toKeysWithoutScopes)
	if got, want := ask(t, url, `SELECT label FROM keys WHERE revoked_at IS NULL ORDER BY 1`), []string{"everything", "old"}; !slices.Equal(got, want) {
		t.Errorf("on the way back these open: %v, want %v", got, want)
	}
}
