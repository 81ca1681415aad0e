package main

import (
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rideout/service/planner"
)

var demoFiles = filepath.Join("..", "..", "testdata", "demo")

func demoFile(folder, name string) string { return filepath.Join(demoFiles, folder, name+".json") }

func write(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func planned(t *testing.T, args ...string) []planner.Plan {
	t.Helper()
	got := runWith(t, nil, append([]string{"plan", "--json"}, args...)...)
	if got.code != exitOK {
		t.Fatalf("%q: got code %d and %q", args, got.code, got.stderr)
	}
	var plans []planner.Plan
	for d := json.NewDecoder(strings.NewReader(got.stdout)); d.More(); {
		var p planner.Plan
		if err := d.Decode(&p); err != nil {
			t.Fatal(err)
		}
		plans = append(plans, p)
	}
	return plans
}

func TestPlanOfFiles(t *testing.T) {
	t.Parallel()
	args := []string{"--vessel", demoFile("vessels", "tern"), "--gear", demoFile("gear", "tern"), "--forecast", demoFile("forecasts", "settled"), "--intent", "drill"}
	plans := planned(t, args...)
	if len(plans) != 1 {
		t.Fatalf("got %d plans, want 1", len(plans))
	}
	p := plans[0]
	if p.VesselName != "Vestvik Tern" || p.Intent != planner.Drill || len(p.InputSHA256) != 64 || !(p.Loads.PeakN.Mid > p.Loads.SteadyN.Mid) {
		t.Errorf("got vessel %q, intent %q, input %q, steady %v N, peak %v N", p.VesselName, p.Intent, p.InputSHA256, p.Loads.SteadyN, p.Loads.PeakN)
	}
	if again := planned(t, args...); again[0].Loads != p.Loads {
		t.Errorf("the same files gave %v, then %v", p.Loads, again[0].Loads)
	}
}

// The text holds what a skipper asks for, and all cautions.
func TestPlanAsText(t *testing.T) {
	t.Parallel()
	got := runWith(t, nil, "plan", "--vessel", demoFile("vessels", "tern"), "--forecast", demoFile("forecasts", "settled"), "--intent", "drill")
	if got.code != exitOK {
		t.Fatalf("got code %d and %q", got.code, got.stderr)
	}
	flowing := strings.Join(strings.Fields(got.stdout), " ")
	for _, want := range append([]string{"Vestvik Tern", "Phases", "peak kN", "Load against rode length", "<- governs", "(drives)", "A whole set", "Assumed"}, planner.Cautions...) {
		if !strings.Contains(flowing, want) {
			t.Errorf("the text lacks %q", want)
		}
	}
	for _, line := range strings.Split(got.stdout, "\n") {
		if len([]rune(line)) > 140 {
			t.Errorf("a line of %d letters: %s", len(line), line)
		}
	}
	if !strings.Contains(got.stderr, "computed in") {
		t.Errorf("stderr says %q", got.stderr)
	}
}

// Every wrong field of every file is named, and the code is 2.
func TestPlanNamesWhatIsWrong(t *testing.T) {
	t.Parallel()
	kestrel, storm := demoFile("vessels", "kestrel"), demoFile("forecasts", "storm")
	const header = "#YY MM DD hh mm WDIR WSPD GST WVHT DPD APD MWD\n"
	for _, c := range []struct {
		name string
		args []string
		want []string
	}{
		{"no files", nil, []string{"/vessel: no file is named", "/forecast: no file is named"}},
		{"absent file", []string{"--vessel", "nowhere.json", "--forecast", storm}, []string{"/vessel: open nowhere.json"}},
		{"empty file", []string{"--vessel", write(t, "v.json", " \n"), "--forecast", storm}, []string{"is empty"}},
		{"half a file", []string{"--vessel", write(t, "v.json", "{\"name\":\n\"x\","), "--forecast", storm}, []string{"is no JSON on line 2"}},
		{"two documents", []string{"--vessel", write(t, "v.json", "{} {}"), "--forecast", storm}, []string{"is no JSON"}},
		{"unknown and wrong", []string{"--vessel", write(t, "v.json", `{"name": "x", "hull": "raft", "loa_m": -1, "wings": 2}`), "--gear", write(t, "g.json", `{"canopy": {"shape": "flat_circular", "diameter_m": 0}}`), "--forecast", storm}, []string{
			"/vessel/hull:", "/vessel/loa_m:", "/vessel/wings:", "/vessel/beam_m:", "/gear/canopy/diameter_m:",
		}},
		{"named twice", []string{"--vessel", write(t, "v.json", `{"name": "x", "name": "y"}`), "--forecast", storm}, []string{"/vessel/name:"}},
		{"huge number", []string{"--vessel", write(t, "v.json", `{"name": "x", "loa_m": 1e400}`), "--forecast", storm}, []string{"/vessel/loa_m:"}},
		{"intent", []string{"--vessel", kestrel, "--forecast", storm, "--intent", "race"}, []string{"/intent:"}},
		{"forecast list", []string{"--vessel", kestrel, "--forecast", write(t, "f.json", `[1]`)}, []string{"/forecast"}},
		{"no record", []string{"--vessel", kestrel, "--forecast", write(t, "f.txt", "fair winds\n")}, []string{"/forecast/line/1:"}},
		{"bad row", []string{"--vessel", kestrel, "--forecast", write(t, "f.txt", header+"2026 01 12 00 00 240 west 20.0 5.0 10.0 7.0 245\n")}, []string{"/forecast/line/2/WSPD:"}},
		{"vessel beside a record", []string{"--vessel", write(t, "v.json", `{}`), "--forecast", write(t, "f.txt", header+"2026 01 12 00 00 240 15.0 20.0 5.0 10.0 7.0 245\n")}, []string{"/vessel/name:"}},
		{"no such run", []string{"--vessel", kestrel, "--forecast", write(t, "f.txt", header+"2026 01 12 00 00 240 15.0 20.0 5.0 10.0 7.0 245\n"), "--run", "2"}, []string{"--run is 2"}},
		{"negative run", []string{"--vessel", kestrel, "--forecast", storm, "--run", "-1"}, []string{"--run: is -1"}},
		{"run of JSON", []string{"--vessel", kestrel, "--forecast", storm, "--run", "1"}, []string{"--run is for a buoy record"}},
		{"wind beyond the model", []string{"--vessel", kestrel, "--forecast", write(t, "f.txt", header+"2026 01 12 00 00 240 70.0 80.0 5.0 10.0 7.0 245\n")}, []string{"/forecast/steps/0/wind_speed_kt:"}},
	} {
		got := runWith(t, nil, append([]string{"plan"}, c.args...)...)
		if got.code != exitBadInput || got.stdout != "" {
			t.Errorf("%s: got code %d and stdout %q, want code %d and none", c.name, got.code, got.stdout, exitBadInput)
		}
		for _, want := range c.want {
			if !strings.Contains(got.stderr, want) {
				t.Errorf("%s: got %q, want %q in it", c.name, got.stderr, want)
			}
		}
	}
}

// A record of years is thinned to what a plan takes, and keeps its strongest wind.
func TestALongRecordIsThinned(t *testing.T) {
	t.Parallel()
	first := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	var f planner.Forecast
	for i := range 5000 {
		f.Steps = append(f.Steps, planner.Step{Time: first.Add(time.Duration(i) * 10 * time.Minute), WindMS: 5})
	}
	f.Steps[3333].WindMS = 31
	said := ""
	got := thinned(f, func(text string) { said = text })
	strongest := 0.0
	for _, s := range got.Steps {
		strongest = max(strongest, s.WindMS)
	}
	if len(got.Steps) > mostSteps || len(got.Steps) < mostSteps/4 || strongest != 31 || !strings.Contains(said, "5000 steps") {
		t.Errorf("got %d steps, strongest %v m/s, and the note %q", len(got.Steps), strongest, said)
	}
}

// Two storms as a buoy measured them, with its gaps and without wave directions, for two boats. The
// record lies beside the repository and is no part of it.
func TestStormsOfABuoyRecord(t *testing.T) {
	t.Parallel()
	record := filepath.Join("..", "..", "..", "shared", "reference", "data", "ndbc_44005_2012_jan_nov.txt")
	if _, err := os.Stat(record); errors.Is(err, fs.ErrNotExist) {
		t.Skipf("the reference data are not here: %v", err)
	}
	for _, vessel := range []string{"kestrel", "petrel"} { // 12 m under power, 10 m under sail
		plans := planned(t, "--vessel", demoFile("vessels", vessel), "--gear", demoFile("gear", vessel), "--forecast", record)
		if len(plans) != 2 {
			t.Fatalf("%s: got %d plans, want January's and November's", vessel, len(plans))
		}
		for i, month := range []time.Month{time.January, time.November} {
			p := plans[i]
			if len(p.Phases) == 0 || p.Phases[0].From.Month() != month {
				t.Fatalf("%s: plan %d is not of %s", vessel, i+1, month)
			}
			steady, mean, peak, out := p.Loads.SteadyN, p.Loads.MeanN, p.Loads.PeakN, p.Rode.PayOutM
			if !(steady.Low > 0 && steady.High < peak.Mid && mean.Mid < peak.Low && peak.Low <= peak.Mid && peak.Mid <= peak.High) {
				t.Errorf("%s in %s: steady %v, mean %v, peak %v N", vessel, month, steady, mean, peak)
			}
			if !(out >= 10 && out <= 400) || p.Loads.DriftKt.Mid < 0.2 || p.Loads.DriftKt.Mid > 4 {
				t.Errorf("%s in %s: pay out %v m, drift %v kt", vessel, month, out, p.Loads.DriftKt)
			}
			if alone := planned(t, "--vessel", demoFile("vessels", vessel), "--gear", demoFile("gear", vessel), "--forecast", record, "--run", []string{"1", "2"}[i]); len(alone) != 1 || alone[0].Loads != p.Loads {
				t.Errorf("%s: --run %d gives another plan than all runs together", vessel, i+1)
			}
		}
	}
}
