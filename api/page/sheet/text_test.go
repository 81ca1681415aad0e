package sheet_test

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
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

// Every vessel of the demo, planned anew on few seas: the figures do not matter here, their number does.
func TestTextOfEveryDemoVesselIsShort(t *testing.T) {
	t.Parallel()
	var scenario struct {
		Plans []map[string]any `json:"plans"`
	}
	file := func(path string, into any) {
		body, err := demo.FS.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(body, into); err != nil {
			t.Fatal(err)
		}
	}
	file("scenario.json", &scenario)
	for _, plan := range scenario.Plans {
		name := plan["claim"].(string)
		body := map[string]any{"intent": plan["intent"], "position": plan["position"], "assume": map[string]any{"seeds": 2}, "rode_lengths_m": []float64{60, 120}}
		for part, folder := range map[string]string{"vessel": "vessels", "gear": "gear", "forecast": "forecasts"} {
			if named, ok := plan[part].(string); ok {
				var tree any
				file(folder+"/"+named+".json", &tree)
				body[part] = tree
			}
		}
		sent, err := json.Marshal(body)
		if err != nil {
			t.Fatal(err)
		}
		text := planned(t, sent)
		t.Logf("%s: %d bytes, %d gzip coded", name, len(text), holdsToItsForm(t, name, text))
		for _, want := range []string{"SKIPPER DECIDES", "PAY OUT", "OUT OF DATE AFTER", "WEAKEST", "ID 0194"} {
			if !bytes.Contains(text, []byte(want)) {
				t.Errorf("%s lacks %q:\n%s", name, want, text)
			}
		}
	}
}

func planned(t *testing.T, body []byte) []byte {
	t.Helper()
	request, err := api.DecodePlan(body)
	if err != nil {
		t.Fatal(err)
	}
	plan, _, err := planner.Compute(t.Context(), request)
	if err != nil {
		t.Fatal(err)
	}
	plan.ID, plan.InputSHA256 = "01945d2c-7c00-7000-8000-000000000001", strings.Repeat("0123456789abcdef", 4)
	k := sheet.Kept{Units: measure.Trade}
	if k.Answer, err = json.Marshal(plan); err != nil {
		t.Fatal(err)
	}
	if k.Inputs, err = json.Marshal(request); err != nil {
		t.Fatal(err)
	}
	return made(t, k).Text()
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
