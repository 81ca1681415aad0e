package api_test

import (
	"net/http"
	"testing"
	"time"

	"rideout/api"
	"rideout/api/limit"
)

func limited(t *testing.T, c limit.Config) *world {
	t.Helper()
	return newWorldWith(t, func(config *api.Config) { config.Limits = &c })
}

func TestDashboardIsHeldToItsRequests(t *testing.T) {
	t.Parallel()
	w := limited(t, limit.Config{Key: 3, Organisation: 100, Rescue: 2})
	for i, want := range []string{`"key";r=2;t=20, "organisation";r=99;t=1`, `"key";r=1;t=20, "organisation";r=98;t=1`, `"key";r=0;t=20, "organisation";r=97;t=1`} {
		answer := w.do(http.MethodGet, "/v1/vessels", "")
		if got := answer.Header.Get("RateLimit"); answer.StatusCode != http.StatusOK || got != want {
			t.Errorf("request %d: %d, RateLimit %s, want 200 and %s", i, answer.StatusCode, got, want)
		}
		if got, want := answer.Header.Get("RateLimit-Policy"), `"key";q=3;w=60, "organisation";q=100;w=60`; got != want {
			t.Errorf("request %d: RateLimit-Policy %s, want %s", i, got, want)
		}
	}
	refused := w.do(http.MethodGet, "/v1/vessels", "")
	if p := problem(t, refused); refused.StatusCode != http.StatusTooManyRequests || p.Code != "rate_limited" || refused.Header.Get("Retry-After") != "20" {
		t.Errorf("the fourth: %d %+v, Retry-After %q; want 429 and 20", refused.StatusCode, p, refused.Header.Get("Retry-After"))
	}
	for _, path := range []string{"/drift", "/storm-plan"} { // the reserve: the vessel is not there, but she is looked for
		if answer := w.do(http.MethodGet, "/v1/vessels/01945d2c-7c00-7000-8000-000000000099"+path, ""); answer.StatusCode != http.StatusNotFound {
			t.Errorf("%s when the dashboard has used up its requests: %d, want 404", path, answer.StatusCode)
		}
	}
	if answer := w.do(http.MethodGet, "/v1/vessels/01945d2c-7c00-7000-8000-000000000099/drift", ""); answer.StatusCode != http.StatusTooManyRequests || answer.Header.Get("RateLimit-Policy") != `"rescue";q=2;w=60` {
		t.Errorf("beyond the reserve: %d, %s", answer.StatusCode, answer.Header.Get("RateLimit-Policy"))
	}
	if answer := w.do(http.MethodGet, "/v1/vessels", "", "Authorization", "Bearer "+w.other); answer.StatusCode != http.StatusOK {
		t.Errorf("another organisation: %d", answer.StatusCode)
	}
	w.pass(20 * time.Second)
	if answer := w.do(http.MethodGet, "/v1/vessels", ""); answer.StatusCode != http.StatusOK {
		t.Errorf("20 s later: %d", answer.StatusCode)
	}
}

func TestOperationsHaveNoLimit(t *testing.T) {
	t.Parallel()
	w := limited(t, limit.Config{Key: 1, Organisation: 1, Rescue: 1})
	for range 5 {
		if answer := w.do(http.MethodGet, "/livez", ""); answer.StatusCode != http.StatusOK || answer.Header.Get("RateLimit") != "" {
			t.Errorf("livez: %d, RateLimit %q", answer.StatusCode, answer.Header.Get("RateLimit"))
		}
	}
}
