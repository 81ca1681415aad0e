package store_test

import (
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/store/storetest"
)

func TestEndedSessionsAreKnownUntilTheyWouldBeTooOld(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org, other := anOrg(t, s), anOrg(t, s)
	id, old := uuid.New(), uuid.New()
	ended := func(org, id uuid.UUID) bool {
		t.Helper()
		ended, err := s.SessionEnded(t.Context(), org, id)
		if err != nil {
			t.Fatal(err)
		}
		return ended
	}
	if ended(org, id) {
		t.Error("ended before anybody ended it")
	}
	for range 2 { // somebody may sign out twice
		if err := s.EndSession(t.Context(), org, id, time.Now().Add(time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	if !ended(org, id) || ended(other, id) || ended(org, uuid.New()) {
		t.Errorf("ended %v, of another organisation %v, another session %v; want true, false, false", ended(org, id), ended(other, id), ended(org, uuid.New()))
	}
	for _, of := range []uuid.UUID{org, other} {
		if err := s.EndSession(t.Context(), of, old, time.Now().Add(-time.Second)); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.EndSession(t.Context(), org, uuid.New(), time.Now().Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if !ended(org, id) || ended(org, old) || !ended(other, old) {
		t.Errorf("after the next one: kept %v, too old %v, of another organisation %v; want true, false, true", ended(org, id), ended(org, old), ended(other, old))
	}
}
