package board_test

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/api/page/board"
	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/planner"
	"rideout/service/readiness"
)

var update = flag.Bool("update", false, "write the golden files anew")

var (
	noon  = time.Date(2026, 1, 12, 12, 0, 0, 0, time.UTC)
	auk   = uuid.MustParse("00000000-0000-7000-a000-000000000001")
	brent = uuid.MustParse("00000000-0000-7000-a000-000000000002")
	gear  = uuid.MustParse("00000000-0000-7000-a000-000000000003")
)

func frame() board.Frame {
	return board.Frame{Key: "ro_91m3hrxe", FormToken: "token", Cautions: []string{"Keep feet clear of the rode."}, Here: "fleet"}
}

func aReport(id uuid.UUID, name string, v readiness.Verdict, found ...readiness.Finding) readiness.Report {
	return readiness.Report{ID: id, VesselName: name, ValidAt: noon, KnownAt: noon, Verdict: v, Findings: found}
}

func finding(code string, severity readiness.Severity, href string) readiness.Finding {
	since := noon.AddDate(0, -1, 0)
	return readiness.Finding{Code: code, Severity: severity, Text: "The text of " + code + ".", Fix: "Its fix.", Since: &since, Evidence: []readiness.Evidence{{What: "gear", Href: href}}}
}

func aFleet() board.Fleet {
	due := noon.AddDate(0, 2, 0)
	later := finding("drill_overdue", readiness.Reservation, "/v1/drills/"+gear.String())
	later.Since, later.Due = nil, &due
	ready := aReport(auk, "Auk <of> Hamna", readiness.Ready)
	ready.Window = &readiness.WindowReport{From: noon, To: noon.AddDate(0, 0, 90), Findings: []readiness.Finding{later}}
	bad := aReport(brent, "Brent", readiness.NotReady,
		finding("gear_missing_bridle", readiness.Reservation, "/v1/vessels/x/gear"), finding("rode_too_old", readiness.Prevents, "/v1/gear/"+gear.String()),
		finding("inspection_overdue", readiness.Prevents, "/v1/gear/1"), finding("inspection_overdue", readiness.Prevents, "/v1/gear/2"),
		finding("rode_chafed", readiness.Prevents, "/v1/gear/3"))
	return board.Fleet{
		Frame: frame(), Asked: board.Asked{Text: `"hamna" & co`}, At: service.AsOf{ValidAt: noon, KnownAt: noon}, Live: true, Ahead: 90, Next: "cursor",
		Overview: service.Overview{
			BoardPage: service.BoardPage{Items: []readiness.Report{ready, bad}},
			Tally: service.Tally{
				Vessels: 2, ByVerdict: map[readiness.Verdict]int{readiness.Ready: 1, readiness.NotReady: 1}, ByRule: map[string]int{"rode_too_old": 1},
				Due: []service.Due{{VesselID: auk, VesselName: ready.VesselName, Code: later.Code, On: due, Text: later.Text}},
			},
		},
	}
}

func aVessel() board.Vessel {
	made := noon.AddDate(0, 0, -3)
	grounds := true
	v := board.Vessel{Frame: frame(), At: service.AsOf{ValidAt: noon, KnownAt: noon}, Ahead: 90, Recorded: gear.String()}
	v.Dossier = service.Dossier{
		ID: auk, Report: aReport(auk, "Auk", readiness.WithReservations, finding("rode_chafed", readiness.Reservation, "/v1/gear/"+gear.String())),
		Gear: []readiness.Gear{
			{ID: brent, Item: &fleet.GearItem{Kind: "knife", RetiredAt: &made, RetiredWhy: "lost"}},
			{ID: gear, Item: &fleet.GearItem{Kind: "rode", Serial: "R-7", FirstUsedOn: "2024-02-29", StormHours: 31, Rode: &fleet.Rode{Construction: "three_strand", DiameterMM: 22, LengthM: 183}}, Inspection: &readiness.Inspection{ID: brent, At: made, Verdict: "watch"}},
		},
		Incidents: []service.Noted[fleet.Incident]{{ID: gear, Is: fleet.Incident{OccurredAt: made, Kind: "rode_chafed", Severity: "minor", Happened: "It chafed\n<b>half</b> through.", GroundsVessel: &grounds}}},
		Storm: &service.StormInForce{
			Facts: readiness.Plan{ID: brent, MadeAt: made, Engine: "rideout-2", CanopyVerdict: "suits", RodeVerdict: "suits"},
			Short: planner.StormPlan{From: noon, Until: noon.Add(24 * time.Hour), CanopyM: 5.5, Rode: "183 m of 22 mm three strand", Weakest: "rode", Use: 0.82, PayOut: []planner.StormPhase{
				{Name: "gale", From: noon.Add(6 * time.Hour), WindKt: 45, HsM: 6, PayOutM: 142, PeakN: planner.Band{Low: 5700, Mid: 9000, High: 14000}},
				{Name: "strong_wind", From: noon, WindKt: 32, HsM: 4.4, PayOutM: 51, PeakN: planner.Band{Low: 7800, Mid: 9000, High: 24000}},
			}},
		},
	}
	v.Vessel = fleet.Vessel{Particulars: fleet.Particulars{Name: "Auk", Hull: "sail_monohull", LOAM: 11}, Status: "in_service"}
	return v
}

// Small pages, to the byte.
func TestGoldenPages(t *testing.T) {
	t.Parallel()
	for name, html := range map[string]func() ([]byte, error){
		"sign-in": board.SignIn{Frame: board.Frame{FormToken: "token"}, Next: "/board", Wrong: "The key is unknown."}.HTML,
		"fleet":   aFleet().HTML,
		"vessel":  aVessel().HTML,
	} {
		got, err := html()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		file := filepath.Join("..", "..", "..", "testdata", "golden", "board", name+".html")
		if *update {
			if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(file, got, 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		want, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%s differs from %s; run with -update if that is meant.\n%s", name, file, got)
		}
	}
}

// What was sent or recorded is never markup, and nothing is inline that the policy would stop.
func TestNothingIsInline(t *testing.T) {
	t.Parallel()
	for _, html := range []func() ([]byte, error){aFleet().HTML, aVessel().HTML, board.Trouble{Frame: frame(), Title: "<b>", Detail: "<i>"}.HTML} {
		got, err := html()
		if err != nil {
			t.Fatal(err)
		}
		for _, never := range []string{"<of>", "<b>half", "<h1><b>", "<i>", "<style", "style=", "onclick", "<script>", "javascript:", "http://", "https://", "ZgotmplZ", "%!"} {
			if bytes.Contains(got, []byte(never)) {
				t.Errorf("a page holds %q", never)
			}
		}
		if !bytes.Contains(got, []byte("Keep feet clear of the rode.")) || !bytes.Contains(got, []byte("The skipper decides")) {
			t.Error("a page is without cautions or deferral")
		}
	}
}

// Reasons: the worst first, those alike together, the first three open.
func TestReasonsAreFolded(t *testing.T) {
	t.Parallel()
	got, err := aFleet().HTML()
	if err != nil {
		t.Fatal(err)
	}
	page := string(got)
	order := []string{"The text of rode_too_old", "The text of inspection_overdue", "And 1 more of the same rule", "The text of rode_chafed", "1 more reason", "The text of gear_missing_bridle"}
	at := 0
	for _, want := range order {
		i := strings.Index(page[at:], want)
		if i < 0 {
			t.Fatalf("%q does not come after what should stand before it", want)
		}
		at += i
	}
}

// An address has what was asked, with the change in it, and nothing empty.
func TestAddresses(t *testing.T) {
	t.Parallel()
	a := board.Asked{State: "ready", Text: "a&b"}
	if got, want := a.Address("state", "", "cursor", "x"), "/board?cursor=x&text=a%26b"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	if got := (board.Asked{}).Address(); got != "/board" {
		t.Errorf("got %s, want /board", got)
	}
}
