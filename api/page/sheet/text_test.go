package sheet_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"rideout/api"
	"rideout/api/page/measure"
	"rideout/api/page/sheet"
	"rideout/service/planner"
	"rideout/testdata/demo"
)

const goldenText = "../../../testdata/golden/sheet/kestrel.txt"

func TestTextIsTheGoldenOne(t *testing.T) {
	t.Parallel()
	got := made(t, kept(t)).Text()
	holdsToItsForm(t, "kestrel", got)
	if *update {
		if err := os.MkdirAll(filepath.Dir(goldenText), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(goldenText, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(goldenText)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("the text differs; run with -update if that is meant.\ngot:\n%s\nwant:\n%s", got, want)
	}
}

// holdsToItsForm demands ASCII, short lines and few bytes when coded, and gives how many.
func holdsToItsForm(t *testing.T, name string, text []byte) int {
	t.Helper()
	for line := range strings.SplitSeq(string(text), "\n") {
		if len(line) > sheet.TextWidth {
			t.Errorf("%s: a line of %d characters: %q", name, len(line), line)
		}
	}
	for _, b := range text {
		if b != '\n' && (b < ' ' || b > '~') {
			t.Errorf("%s: byte %#x is not ASCII", name, b)
		}
	}
	var coded bytes.Buffer
	w := gzip.NewWriter(&coded)
	if _, err := w.Write(text); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if coded.Len() > sheet.TextBytes {
		t.Errorf("%s: %d bytes gzip coded, want at most %d", name, coded.Len(), sheet.TextBytes)
	}
	return coded.Len()
}

// What only the high end of the load would break is told on the poorest link too.
func TestTextSaysWhatTheHighEndBreaks(t *testing.T) {
	t.Parallel()
	for use, c := range map[float64]struct{ capacityN, highN float64 }{0.98: {10_000, 12_000}, 0.5: {20_000, 12_000}} {
		text := string(made(t, changed(t, func(p *planner.Plan, _ *planner.Request) {
			for i := range p.Hardware {
				if part := &p.Hardware[i]; part.Governing {
					part.Use, part.CapacityN = use, c.capacityN
				}
			}
			for i := range p.Phases {
				p.Phases[i].Loads.PeakN.High = 1
			}
			p.Phases[0].Loads.PeakN.High = c.highN
		})).Text())
		if got := strings.Contains(strings.ReplaceAll(text, "\n ", " "), "OVER 100 % AT THE HIGH END"); got != (c.highN > c.capacityN) || strings.Contains(text, "NOT STRONG") {
			t.Errorf("at %g of %g N, %g N at the high end:\n%s", use, c.capacityN, c.highN, text)
		}
	}
}

// Every vessel of the demo, planned anew on few seas: the figures do not matter here, their number does.
func TestTextOfEveryDemoVesselIsShort(t *testing.T) {
	t.Parallel()
	for name, k := range demoPlans(t) {
		k.Units = measure.Trade
		text := made(t, k).Text()
		t.Logf("%s: %d bytes, %d gzip coded", name, len(text), holdsToItsForm(t, name, text))
		for _, want := range []string{"SKIPPER DECIDES", "PAY OUT", "OUT OF DATE AFTER", "WEAKEST", "ID 0194"} {
			if !bytes.Contains(text, []byte(want)) {
				t.Errorf("%s lacks %q:\n%s", name, want, text)
			}
		}
	}
}

// demoPlans computes what the demo plans, once for all tests.
func demoPlans(t *testing.T) map[string]sheet.Kept {
	t.Helper()
	plans, err := computedDemo()
	if err != nil {
		t.Fatal(err)
	}
	return plans
}

var computedDemo = sync.OnceValues(func() (map[string]sheet.Kept, error) {
	file := func(path string) (tree map[string]any, err error) {
		body, err := demo.FS.ReadFile(path)
		if err == nil {
			err = json.Unmarshal(body, &tree)
		}
		return tree, err
	}
	scenario, err := file("scenario.json")
	if err != nil {
		return nil, err
	}
	all := map[string]sheet.Kept{}
	for _, item := range scenario["plans"].([]any) {
		plan := item.(map[string]any)
		body := map[string]any{"assume": map[string]any{"seeds": 2}, "rode_lengths_m": []float64{60, 120}}
		for part, folder := range map[string]string{"vessel": "vessels", "gear": "gear", "forecast": "forecasts"} {
			if named, ok := plan[part].(string); ok {
				if body[part], err = file(folder + "/" + named + ".json"); err != nil {
					return nil, err
				}
			}
		}
		for _, part := range []string{"intent", "position", "wish", "crew"} {
			if plan[part] != nil {
				body[part] = plan[part]
			}
		}
		sent, err := json.Marshal(body)
		if err != nil {
			return nil, err
		}
		if all[plan["claim"].(string)], err = planned(sent); err != nil {
			return nil, err
		}
	}
	return all, nil
})

// planned computes a plan and gives it as the history keeps it.
func planned(body []byte) (k sheet.Kept, err error) {
	request, err := api.DecodePlan(body)
	if err != nil {
		return k, err
	}
	plan, steps, err := planner.Compute(context.Background(), request)
	if err != nil {
		return k, err
	}
	plan.ID, plan.InputSHA256 = "01945d2c-7c00-7000-8000-000000000001", strings.Repeat("0123456789abcdef", 4)
	for from, into := range map[any]*[]byte{&plan: &k.Answer, &request: &k.Inputs, &steps: &k.Working} {
		if *into, err = json.Marshal(from); err != nil {
			return k, err
		}
	}
	return k, nil
}

// A plan with very much to say is cut, the least needed first, and says so.
func TestLongTextIsCut(t *testing.T) {
	t.Parallel()
	k := changed(t, func(p *planner.Plan, _ *planner.Request) {
		p.VesselName = "Måken av Sør-Varanger ☃"
		for i := range 60 {
			h := p.Hours[i%len(p.Hours)]
			at := h.From
			if at != nil {
				moved := at.AddDate(0, 0, i*7%29)
				h.From, h.Until = &moved, &moved
			}
			p.Hours = append(p.Hours, h)
			span := p.Phases[0].Spans[0]
			span.From, span.Until = span.From.AddDate(0, i*5%11, i*3%17), span.Until.AddDate(0, i*5%11, i*7%23)
			p.Phases[0].Spans = append(p.Phases[0].Spans, span)
		}
	})
	text := made(t, k).Text()
	holdsToItsForm(t, "long", text)
	for _, want := range []string{"SHORTENED", "Maaken av Soer-Varanger\n ?", "SKIPPER DECIDES", "GALE 183M", "01945d2c"} {
		if !bytes.Contains(text, []byte(want)) {
			t.Errorf("the text lacks %q:\n%s", want, text)
		}
	}
}
