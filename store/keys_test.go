package store_test

import (
	"crypto/sha256"
	"errors"
	"testing"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/store/storetest"
)

func TestKeyring(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org, err := s.AddOrganisation(t.Context(), "Hamna sailing school")
	if err != nil {
		t.Fatal(err)
	}
	if again, err := s.AddOrganisation(t.Context(), "Hamna sailing school"); err != nil || again != org {
		t.Errorf("the same name again: got %v, error %v, want %v", again, err, org)
	}
	other := anOrg(t, s)
	for hash, owner := range map[string]service.OrgID{"first": org, "second": org, "third": other} {
		if err := s.AddKey(t.Context(), owner, hashOf(hash), hash); err != nil {
			t.Fatal(err)
		}
	}
	for hash, want := range map[string]service.OrgID{"first": org, "second": org, "third": other} {
		if got, err := s.OrganisationByKeyHash(t.Context(), hashOf(hash)); err != nil || got != want {
			t.Errorf("%s key: got %v, error %v, want %v", hash, got, err, want)
		}
	}

	ask(t, url, `UPDATE keys SET revoked_at = now() WHERE label = 'second'`)
	for _, hash := range [][]byte{hashOf("second"), hashOf("unknown"), nil} {
		if got, err := s.OrganisationByKeyHash(t.Context(), hash); !errors.Is(err, service.ErrNotFound) {
			t.Errorf("hash %x: got %v, error %v, want %v", hash, got, err, service.ErrNotFound)
		}
	}
	if err := s.AddKey(t.Context(), uuid.New(), hashOf("fourth"), ""); !errors.Is(err, service.ErrNotFound) {
		t.Errorf("key of no organisation: got %v, want %v", err, service.ErrNotFound)
	}
	if err := s.AddKey(t.Context(), other, hashOf("first"), ""); err == nil {
		t.Error("another's key: got no error")
	}
	if err := s.AddKey(t.Context(), org, []byte("ro_a_key_as_it_is"), ""); err == nil {
		t.Error("a key instead of its hash: got no error")
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
