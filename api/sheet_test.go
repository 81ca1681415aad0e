package api_test

import (
	"context"
	"encoding/json"
	"net/http"
	"os"
	"strings"
	"testing"

	"rideout/api/page/figure"
	"rideout/service/planner"
)

// kestrelWorld is a world whose one plan is what was computed for the demo's Kestrel.
func kestrelWorld(t *testing.T) (w *world, at string) {
	t.Helper()
	var plan planner.Plan
	var steps []planner.WorkingStep
	for file, into := range map[string]any{"plan": &plan, "working": &steps} {
		body, err := os.ReadFile("page/testdata/" + file + ".json")
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(body, into); err != nil {
			t.Fatal(err)
		}
	}
	w = newWorld(t)
	w.compute = func(context.Context, planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		return plan, steps, nil
	}
	return w, w.create("a")
}

func TestSheetComesAsAsked(t *testing.T) {
	t.Parallel()
	w, at := kestrelWorld(t)
	for name, c := range map[string]struct{ accept, kind, begins string }{
		"nothing asked":      {"", "text/html; charset=utf-8", "<!DOCTYPE html>"},
		"anything":           {"*/*", "text/html; charset=utf-8", "<!DOCTYPE html>"},
		"a browser":          {"text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8", "text/html; charset=utf-8", "<!DOCTYPE html>"},
		"PDF":                {"application/pdf", "application/pdf", "%PDF-"},
		"rather PDF":         {"text/html;q=0.5, application/*", "application/pdf", "%PDF-"},
		"text":               {"text/plain", "text/plain; charset=us-ascii", "SEA ANCHOR PLAN Kestrel"},
		"text but no page":   {"text/*, text/html;q=0", "text/plain; charset=us-ascii", "SEA ANCHOR PLAN Kestrel"},
		"an unreadable part": {"text/plain, ;;", "text/plain; charset=us-ascii", "SEA ANCHOR PLAN Kestrel"},
	} {
		answer := w.do(http.MethodGet, at+"/sheet", "", "Accept", c.accept)
		if got := answer.Header.Get("Content-Type"); answer.StatusCode != http.StatusOK || got != c.kind || !strings.HasPrefix(text(t, answer), c.begins) {
			t.Errorf("%s: %d %s %.60q, want 200 %s %q", name, answer.StatusCode, got, text(t, answer), c.kind, c.begins)
		}
		vary := strings.Join(answer.Header.Values("Vary"), ",")
		if !strings.Contains(vary, "Accept,") || !strings.Contains(vary, "Accept-Encoding") {
			t.Errorf("%s: Vary %q", name, vary)
		}
		tag := answer.Header.Get("ETag")
		if again := w.do(http.MethodGet, at+"/sheet", "", "Accept", c.accept, "If-None-Match", tag); tag == "" || again.StatusCode != http.StatusNotModified {
			t.Errorf("%s: with its ETag %q %d, want 304", name, tag, again.StatusCode)
		}
	}
	for _, accept := range []string{"application/json", "image/*", "text/html;q=0"} {
		answer := w.do(http.MethodGet, at+"/sheet", "", "Accept", accept)
		if p := problem(t, answer); answer.StatusCode != http.StatusNotAcceptable || p.Code != "not_acceptable" {
			t.Errorf("Accept %s: %d %s, want 406 not_acceptable", accept, answer.StatusCode, p.Code)
		}
	}
}

func TestSheetInOtherUnitsAndOnOtherPaper(t *testing.T) {
	t.Parallel()
	w, at := kestrelWorld(t)
	get := func(target, accept string) string { return text(t, w.do(http.MethodGet, target, "", "Accept", accept)) }
	if metric, trade := get(at+"/sheet", "text/html"), get(at+"/sheet?units=trade", "text/html"); strings.Contains(metric, " lbf") || !strings.Contains(trade, " lbf") {
		t.Errorf("lbf in metric %v, in trade %v; want none and some", strings.Contains(metric, " lbf"), strings.Contains(trade, " lbf"))
	}
	if a4, letter := get(at+"/sheet", "application/pdf"), get(at+"/sheet?paper=letter", "application/pdf"); !strings.Contains(a4, "[0 0 595.28 841.89]") || !strings.Contains(letter, "[0 0 612.00 792.00]") {
		t.Error("the papers are not those asked for")
	}
	for _, query := range []string{"units=imperial", "paper=a5", "colour=red", "units=trade&units=metric"} {
		answer := w.do(http.MethodGet, at+"/sheet?"+query, "")
		if p := problem(t, answer); answer.StatusCode != http.StatusBadRequest || len(p.Errors) != 1 {
			t.Errorf("%s: %d %s, want 400 naming it", query, answer.StatusCode, text(t, answer))
		}
	}
}

func TestDrawings(t *testing.T) {
	t.Parallel()
	w, at := kestrelWorld(t)
	for _, name := range figure.Names() {
		answer := w.do(http.MethodGet, at+"/drawings/"+name+".svg?units=trade", "")
		body := text(t, answer)
		if got := answer.Header.Get("Content-Type"); answer.StatusCode != http.StatusOK || got != "image/svg+xml" || !strings.HasPrefix(body, "<svg ") || !strings.Contains(body, "<desc ") {
			t.Errorf("%s: %d %s %.60q", name, answer.StatusCode, got, body)
		}
	}
	for _, name := range []string{"sail.svg", "rig", "rig.png", ".svg", "rig.svg.svg"} {
		answer := w.do(http.MethodGet, at+"/drawings/"+name, "")
		if answer.StatusCode != http.StatusNotFound {
			t.Errorf("%s: %d, want 404", name, answer.StatusCode)
		}
	}
}

func TestWorkingAsAPage(t *testing.T) {
	t.Parallel()
	w, at := kestrelWorld(t)
	for accept, kind := range map[string]string{"": "application/json", "*/*": "application/json", "text/html": "text/html; charset=utf-8", "application/json, text/html;q=0.9": "application/json"} {
		if got := w.do(http.MethodGet, at+"/working", "", "Accept", accept).Header.Get("Content-Type"); got != kind {
			t.Errorf("Accept %q: %s, want %s", accept, got, kind)
		}
	}
}

// Pages carry a policy that allows their own style sheet and no more, and are another organisation's to nobody.
func TestPagesAreClosed(t *testing.T) {
	t.Parallel()
	w, at := kestrelWorld(t)
	for _, tail := range []string{"/sheet", "/working", "/drawings/rig.svg"} {
		policy := w.do(http.MethodGet, at+tail, "", "Accept", "text/html, image/svg+xml;q=0.5, */*;q=0.1").Header.Get("Content-Security-Policy")
		if !strings.HasPrefix(policy, "default-src 'none'; style-src 'sha256-") || strings.Contains(policy, "unsafe") {
			t.Errorf("%s: policy %q", tail, policy)
		}
		if got := w.do(http.MethodGet, at+tail, "", "Authorization", "Bearer "+w.other).StatusCode; got != http.StatusNotFound {
			t.Errorf("%s: another organisation gets %d, want 404", tail, got)
		}
		if head := w.do(http.MethodHead, at+tail, ""); head.StatusCode != http.StatusOK || head.Header.Get("ETag") == "" || text(t, head) != "" {
			t.Errorf("%s: HEAD %d, ETag %q, %d bytes", tail, head.StatusCode, head.Header.Get("ETag"), len(text(t, head)))
		}
	}
}

// Text on the goldens' plan, whose every field is filled by chance, must be shown too.
func TestSheetOfAPlanOfOddities(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	at := w.create("a")
	for _, accept := range []string{"text/html", "application/pdf", "text/plain"} {
		if got := w.do(http.MethodGet, at+"/sheet", "", "Accept", accept).StatusCode; got != http.StatusOK {
			t.Errorf("%s: %d, want 200", accept, got)
		}
	}
}
