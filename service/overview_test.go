package service_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/servicetest"
)

// What falls due is counted of all vessels, soonest first, and put into words of those alone that a board has room for.
func TestSoonestFallsDueInWords(t *testing.T) {
	t.Parallel()
	s := &school{t: t, org: uuid.UUID{1}, now: time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)}
	newID := func() uuid.UUID { s.ids++; return uuid.UUID{byte(s.ids >> 8), byte(s.ids)} }
	s.registers = &service.Registers{History: &servicetest.History{}, Clock: func() time.Time { s.now = s.now.Add(time.Second); return s.now }, NewID: newID}
	const vessels = service.DueTold + 3
	for i := range vessels {
		vessel := &fleet.Vessel{Status: "in_service"}
		vessel.Name, vessel.Hull, vessel.LOAM, vessel.BeamM, vessel.DraughtM, vessel.DisplacementKg = fmt.Sprintf("Pupil %02d", i), "workboat", 12, 4, 1, 9000
		id := s.add(fleet.KindVessel, uuid.Nil, vessel)
		s.add(fleet.KindDrill, id, &fleet.Drill{HeldAt: s.now.AddDate(0, 0, -1-i), Kind: "full", CrewCount: 3}) // the last one's falls due first
	}
	overview, _, err := s.registers.Overview(t.Context(), s.org, service.BoardQuery{Days: 700, Limit: 5})
	if err != nil {
		t.Fatal(err)
	}
	tally := overview.Tally
	if tally.Vessels != vessels || len(tally.Due) != vessels || len(overview.Items) != 5 {
		t.Fatalf("%d vessels, %d fall due, %d on the page; want %d, %d and 5", tally.Vessels, len(tally.Due), len(overview.Items), vessels, vessels)
	}
	for i, d := range tally.Due {
		if want := fmt.Sprintf("Pupil %02d", vessels-1-i); d.VesselName != want || d.Code != "drill_overdue" {
			t.Errorf("due %d: got %s of %s, want drill_overdue of %s", i, d.Code, d.VesselName, want)
		}
		if told := strings.HasPrefix(d.Text, "The last drill aboard was on"); told != (i < service.DueTold) {
			t.Errorf("due %d: says %q", i, d.Text)
		}
	}
}
