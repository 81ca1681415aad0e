package sheet_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"html"
	"os"
	"strings"
	"testing"
	"time"

	"rideout/api/page/measure"
	"rideout/api/page/sheet"
	"rideout/service/planner"
)

var update = flag.Bool("update", false, "write the golden files anew")

// kept is the plan computed for the demo's Kestrel, as the history keeps it.
func kept(t *testing.T) sheet.Kept {
	t.Helper()
	read := func(name string) []byte {
		body, err := os.ReadFile("../testdata/" + name + ".json")
		if err != nil {
			t.Fatal(err)
		}
		return body
	}
	return sheet.Kept{Answer: read("plan"), Inputs: read("request"), Working: read("working"), Units: measure.Metric}
}

// changed is the kept plan with a change.
func changed(t *testing.T, change func(*planner.Plan, *planner.Request)) sheet.Kept {
	t.Helper()
	k := kept(t)
	var plan planner.Plan
	var request planner.Request
	for _, part := range []struct {
		from []byte
		into any
	}{{k.Answer, &plan}, {k.Inputs, &request}} {
		if err := json.Unmarshal(part.from, part.into); err != nil {
			t.Fatal(err)
		}
	}
	change(&plan, &request)
	var err error
	if k.Answer, err = json.Marshal(plan); err != nil {
		t.Fatal(err)
	}
	if k.Inputs, err = json.Marshal(request); err != nil {
		t.Fatal(err)
	}
	return k
}

func made(t *testing.T, k sheet.Kept) sheet.Sheet {
	t.Helper()
	s, err := sheet.New(k)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// bare is a plan of which nothing but the loads was computed.
func bare(t *testing.T) sheet.Kept {
	t.Helper()
	return changed(t, func(p *planner.Plan, _ *planner.Request) {
		p.Hours, p.Steps, p.Crew, p.SeaRoom, p.Bridle, p.Warnings, p.CreatedAt = nil, nil, nil, nil, nil, nil, nil
	})
}

func TestOutOfDate(t *testing.T) {
	t.Parallel()
	noon := time.Date(2026, 1, 12, 12, 0, 0, 0, time.UTC)
	for name, c := range map[string]struct {
		change func(*planner.Plan, *planner.Request)
		want   string
		why    string
	}{
		"a day after the issue": {func(*planner.Plan, *planner.Request) {}, "13 Jan 2026 12:00 UTC", "24 h after the forecast was issued"},
		"the forecast ends first": {func(p *planner.Plan, r *planner.Request) {
			r.Forecast.IssuedAt = noon.Add(20 * time.Hour)
		}, "13 Jan 2026 18:00 UTC", "the forecast ends"},
		"issue unknown": {func(p *planner.Plan, r *planner.Request) {
			at := noon.Add(-6 * time.Hour)
			r.Forecast.IssuedAt, p.CreatedAt = time.Time{}, &at
		}, "13 Jan 2026 06:00 UTC", "24 h after the plan was made"},
		"nothing known but the steps": {func(p *planner.Plan, r *planner.Request) {
			r.Forecast.IssuedAt, p.CreatedAt, p.Phases = time.Time{}, nil, nil
		}, "13 Jan 2026 12:00 UTC", "the forecast ends"},
	} {
		if s := made(t, changed(t, c.change)); s.Expires != c.want || s.ExpiresWhy != c.why {
			t.Errorf("%s: %s, %s; want %s, %s", name, s.Expires, s.ExpiresWhy, c.want, c.why)
		}
	}
}

func TestHTMLSaysWhatThePlanSays(t *testing.T) {
	t.Parallel()
	k := kept(t)
	k.Units = measure.Trade
	s := made(t, k)
	page, err := s.HTML()
	if err != nil {
		t.Fatal(err)
	}
	body := html.UnescapeString(string(page.Body))
	p := s.Subject.Plan
	wants := []string{p.VesselName, p.ID, p.InputSHA256, s.Expires, "NOT STRONG ENOUGH", "183 m<br>600 ft", "rig-title", "peak-title", "hours-title", "drift-title", "Watch log", "SECURITE", `href="#from-peak"`, `id="from-peak"`, `href="#step-1"`, `id="step-1"`, "Gumbel"}
	wants = append(wants, p.Steps[0].Hazard, p.Steps[len(p.Steps)-1].Do, p.Hours[0].Why)
	for _, want := range wants {
		if !strings.Contains(body, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	for _, caution := range p.Cautions {
		if !strings.Contains(body, caution) {
			t.Errorf("the page lacks the caution %q", caution)
		}
	}
	if n := strings.Count(body, `<p class="deferral">`+p.Cautions[0]); n != 2 {
		t.Errorf("the deferral heads %d pages, want 2", n)
	}
	offline(t, body)
	links(t, body)
}

// offline demands that a page asks nothing of elsewhere and runs nothing.
func offline(t *testing.T, body string) {
	t.Helper()
	for _, never := range []string{"<script", "<link", "<img", "<iframe", "@import", "url(http", "src=", ` style="`, "javascript:"} {
		if strings.Contains(body, never) {
			t.Errorf("the page has %s", never)
		}
	}
	for _, address := range strings.Split(body, "http")[1:] {
		if !strings.HasPrefix(address, "://www.w3.org/2000/svg") {
			t.Errorf("the page names the address http%.40s", address)
		}
	}
}

// links demands that each link within a page leads somewhere, and no place has two of a name.
func links(t *testing.T, body string) {
	t.Helper()
	ids := map[string]int{}
	for _, part := range strings.Split(body, ` id="`)[1:] {
		id, _, _ := strings.Cut(part, `"`)
		if ids[id]++; ids[id] > 1 {
			t.Errorf("two places are called %s", id)
		}
	}
	for _, part := range strings.Split(body, `href="#`)[1:] {
		if id, _, _ := strings.Cut(part, `"`); ids[id] == 0 {
			t.Errorf("a link leads to #%s, which is not there", id)
		}
	}
}

func TestWorkingAsAPage(t *testing.T) {
	t.Parallel()
	page, err := sheet.WorkingHTML("01945d2c-7c00-7000-8000-000000000001", kept(t).Working)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"01945d2c-7c00-7000-8000-000000000001", "JONSWAP", "Source: ", "significant wave height", "qualified skipper"} {
		if !bytes.Contains(page.Body, []byte(want)) {
			t.Errorf("the page lacks %q", want)
		}
	}
	offline(t, string(page.Body))
	if _, err := sheet.WorkingHTML("x", []byte("{")); err == nil {
		t.Error("a working that is no JSON is taken")
	}
}

func TestASheetOfLittle(t *testing.T) {
	t.Parallel()
	s := made(t, bare(t))
	page, err := s.HTML()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Hours: not computed", "Steps: not computed", "Crew: not computed", "Safety message: not computed", "Drift: not computed"} {
		if !bytes.Contains(page.Body, []byte(want)) {
			t.Errorf("the page lacks %q", want)
		}
	}
	for _, want := range []string{"HOURS: NOT COMPUTED", "SEA ROOM: NOT COMPUTED"} {
		if text := s.Text(); !bytes.Contains(text, []byte(want)) {
			t.Errorf("the text lacks %q:\n%s", want, text)
		}
	}
	if _, err := sheet.New(sheet.Kept{Answer: []byte("{"), Inputs: []byte("{}")}); err == nil {
		t.Error("a plan that is no JSON is taken")
	}
}

func TestNoSentenceEndsTwice(t *testing.T) {
	t.Parallel()
	page, err := made(t, kept(t)).HTML()
	if err != nil {
		t.Fatal(err)
	}
	if i := bytes.Index(page.Body, []byte("..</")); i >= 0 {
		t.Errorf("a sentence ends twice: %s", page.Body[max(0, i-60):i+6])
	}
}
