package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"flag"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/planner"
	judged "rideout/service/readiness"
	"rideout/service/servicetest"
)

var update = flag.Bool("update", false, "write the goldens anew")

// On this evening the January storm is at its height and three vessels are out.
var demoEvening = time.Date(2026, 1, 12, 22, 0, 0, 0, time.UTC)

// remembering computes each request once, so that the same past can be written several times.
type remembering struct {
	mu   sync.Mutex
	left int // calculations until one fails; below 0: none does
}

type computed struct {
	mu    sync.Mutex
	done  bool
	plan  planner.Plan
	steps []planner.WorkingStep
}

var errCut = errors.New("cut off")

func (m *remembering) compute(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.left--; m.left == -1 {
		return planner.Plan{}, nil, errCut
	}
	return computedOnce(ctx, r)
}

// known holds what computedOnce has computed, by the hash of the request.
var known sync.Map

// computedOnce computes each request once, for all tests that write the same past.
func computedOnce(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
	text, err := json.Marshal(r)
	if err != nil {
		return planner.Plan{}, nil, err
	}
	once, _ := known.LoadOrStore(sha256.Sum256(text), &computed{})
	c := once.(*computed)
	c.mu.Lock()
	defer c.mu.Unlock()
	if !c.done {
		if c.plan, c.steps, err = planner.Compute(ctx, r); err != nil {
			return planner.Plan{}, nil, err
		}
		c.done = true
	}
	return c.plan, c.steps, nil
}

// pastDemo writes the demo's past into a history.
func pastDemo(t *testing.T, memory *servicetest.History, m *remembering, acts []demoAct) error {
	t.Helper()
	registers := &service.Registers{History: memory}
	plans := &service.Plans{History: memory, Compute: m.compute, Budget: 10 * time.Minute}
	return newHistorian(demoOrg, registers, plans).catchUp(t.Context(), acts, func(string) {})
}

var demoOrg = uuid.MustParse("01945d2c-7c00-7000-8000-00000000d3a0")

// asked gives use cases that read a history, on a clock after all of it.
func asked(memory *servicetest.History) *service.Registers {
	return &service.Registers{History: memory, Clock: func() time.Time { return always }, NewID: uuid.New}
}

// boardOf reads the fleet's board as of two times.
func boardOf(t *testing.T, memory *servicetest.History, at service.AsOf) []judged.Report {
	t.Helper()
	page, _, err := asked(memory).Board(t.Context(), demoOrg, service.BoardQuery{AsOf: at, Limit: 100})
	if err != nil {
		t.Fatal(err)
	}
	return page.Items
}

// storyOf reads the demo's acts up to some weeks after the evening.
func storyOf(t *testing.T) (acts []demoAct, ids map[string]uuid.UUID) {
	t.Helper()
	_, scenario, err := readScenario()
	if err != nil {
		t.Fatal(err)
	}
	history, err := readHistory()
	if err != nil {
		t.Fatal(err)
	}
	acts, ids, err = actsOf(history, scenario, demoEvening)
	if err != nil {
		t.Fatal(err)
	}
	return slices.DeleteFunc(acts, func(a demoAct) bool { return a.at.After(demoEvening.AddDate(0, 1, 0)) }), ids
}

// The past of the demo, computed as the demo computes it.
func TestDemosPast(t *testing.T) {
	t.Parallel()
	acts, ids := storyOf(t)
	engine := &remembering{left: -1}
	whole := &servicetest.History{}
	if err := pastDemo(t, whole, engine, acts); err != nil {
		t.Fatal(err)
	}
	board := asText(t, boardOf(t, whole, service.AsOf{ValidAt: demoEvening, KnownAt: demoEvening}))
	t.Run("its board of an evening is the golden one", func(t *testing.T) { isGolden(t, board) })
	t.Run("the same after two ends in the middle, and nothing is added after the third", func(t *testing.T) {
		broken := &servicetest.History{}
		for _, left := range []int{9, 12} {
			engine.left = left
			if err := pastDemo(t, broken, engine, acts); !errors.Is(err, errCut) {
				t.Fatalf("got %v, want it cut off", err)
			}
		}
		engine.left = -1
		for range 2 {
			if err := pastDemo(t, broken, engine, acts); err != nil {
				t.Fatal(err)
			}
			if got := asText(t, boardOf(t, broken, service.AsOf{ValidAt: demoEvening, KnownAt: demoEvening})); !bytes.Equal(got, board) {
				t.Errorf("the board differs: %s", got)
			}
			if got, want := changes(t, broken), changes(t, whole); got != want {
				t.Errorf("got %d changes, want %d", got, want)
			}
		}
	})
	t.Run("what was known when", func(t *testing.T) { knewThen(t, whole, ids) })
	t.Run("its outcomes teach what is true", func(t *testing.T) { teaches(t, whole, ids) })
	t.Run("who is at sea that evening", func(t *testing.T) { areAtSea(t, whole, ids) })
}

func asText(t *testing.T, board []judged.Report) []byte {
	t.Helper()
	text, err := json.MarshalIndent(board, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	return append(text, '\n')
}

var goldenBoard = filepath.Join("..", "..", "testdata", "golden", "demo", "board.json")

func isGolden(t *testing.T, board []byte) {
	if *update {
		if err := os.MkdirAll(filepath.Dir(goldenBoard), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(goldenBoard, board, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(goldenBoard)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(board, want) {
		t.Errorf("the board differs; run with -update if that is meant. Got:\n%s", board)
	}
}

func changes(t *testing.T, memory *servicetest.History) int64 {
	t.Helper()
	page, err := memory.Events(t.Context(), demoOrg, 0, time.Time{}, 1)
	if err != nil {
		t.Fatal(err)
	}
	return page.Latest
}

// knewThen asks for what was recorded late, corrected, or ended and began anew.
func knewThen(t *testing.T, memory *servicetest.History, ids map[string]uuid.UUID) {
	on := func(month time.Month, day, year int) time.Time {
		return time.Date(year, month, day, 12, 0, 0, 0, time.UTC)
	}
	for _, c := range []struct {
		name, vessel, code string
		valid, known       time.Time
		found              bool
	}{
		{"the knife was lost on the 9th", "guillemot", "gear_missing_knife", on(1, 11, 2026), demoEvening, true},
		{"and nobody ashore knew on the 11th", "guillemot", "gear_missing_knife", on(1, 11, 2026), on(1, 11, 2026), false},
		{"before she was sold", "eider", "vessel_not_in_service", on(9, 14, 2024), demoEvening, false},
		{"sold", "eider", "vessel_not_in_service", on(12, 24, 2024), demoEvening, true},
		{"bought back", "eider", "vessel_not_in_service", on(6, 3, 2025), demoEvening, false},
		{"before the fourth storm of her rode", "cormorant", "rode_used_up", on(12, 3, 2025), demoEvening, false},
		{"after it", "cormorant", "rode_used_up", on(12, 5, 2025), demoEvening, true},
		{"a knife aboard again", "guillemot", "gear_missing_knife", on(2, 1, 2026), always, false},
	} {
		report, _, err := asked(memory).Readiness(t.Context(), demoOrg, ids[c.vessel], service.AsOf{ValidAt: c.valid, KnownAt: c.known}, nil)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		found := slices.ContainsFunc(report.Findings, func(f judged.Finding) bool { return f.Code == c.code })
		if found != c.found {
			t.Errorf("%s: found %v, want %v: %+v", c.name, found, c.found, report.Findings)
		}
	}
	for _, c := range []struct {
		known time.Time
		outM  float64 // 0: no such deployment
	}{{on(3, 20, 2025), 0}, {on(3, 25, 2025), 50}, {on(3, 27, 2025), 150}} {
		v, _, err := asked(memory).Read(t.Context(), demoOrg, fleet.KindDeployment, ids["fulmar-2"], service.AsOf{ValidAt: on(3, 10, 2025), KnownAt: c.known})
		if c.outM == 0 {
			if !isNotFound(err) {
				t.Errorf("known %v: got %v, want none", c.known, err)
			}
			continue
		}
		var d fleet.Deployment
		if err := errors.Join(err, json.Unmarshal(v.Body, &d)); err != nil || d.RodeOutM == nil || *d.RodeOutM != c.outM {
			t.Errorf("known %v: got %s %v, want %g m out", c.known, v.Body, err, c.outM)
		}
	}
}

// teaches holds what is learnt of the vessel with most outcomes against what the demo has her be, and asks for the wild one.
func teaches(t *testing.T, memory *servicetest.History, ids map[string]uuid.UUID) {
	l, _, err := asked(memory).Calibration(t.Context(), demoOrg, uuid.Nil, service.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	if l.Outcomes < 70 || len(l.LeftOut) > 0 || len(l.Outliers) != 1 {
		t.Errorf("%d outcomes, left out %v, outliers %v; want at least 70, none and one", l.Outcomes, l.LeftOut, l.Outliers)
	}
	for _, v := range l.Vessels {
		if v.VesselID == ids["kestrel"].String() && (v.Windage.Low > trueFactor("push kestrel") || v.Windage.High < trueFactor("push kestrel")) {
			t.Errorf("kestrel's windage: learnt %v, true %v", v.Windage, trueFactor("push kestrel"))
		}
	}
}

// areAtSea asks as the example of a forecast for an area does.
func areAtSea(t *testing.T, memory *servicetest.History, ids map[string]uuid.UUID) {
	at := service.AsOf{ValidAt: time.Date(2026, 1, 12, 21, 0, 0, 0, time.UTC), KnownAt: always}
	var afloat []service.Afloat
	err := memory.Change(t.Context(), demoOrg, func(ctx context.Context, r service.Recorder) (err error) {
		afloat, err = r.Afloat(ctx, at, at.ValidAt.Add(12*time.Hour))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	lying := map[uuid.UUID]bool{}
	for _, v := range afloat {
		lying[v.VesselID] = v.DeploymentID != uuid.Nil
	}
	want := map[uuid.UUID]bool{ids["kestrel"]: true, ids["guillemot"]: true, ids["gannet"]: false}
	if !maps.Equal(lying, want) {
		t.Errorf("got %v, want %v (true: lying to her canopy)", lying, want)
	}
}
