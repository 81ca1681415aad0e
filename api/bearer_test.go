package api_test

import (
	"crypto/ed25519"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
	"github.com/google/uuid"

	"rideout/api"
	"rideout/api/token"
)

// issued is a world that takes the tokens of an issuer on this machine, and the means to sign them.
func issued(t *testing.T) (w *world, sign func(changes map[string]any) string, issuer *httptest.Server) {
	t.Helper()
	public, private, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	mux := http.NewServeMux()
	issuer = httptest.NewServer(mux)
	t.Cleanup(issuer.Close)
	mux.HandleFunc("/.well-known/openid-configuration", func(w http.ResponseWriter, _ *http.Request) {
		_ = json.NewEncoder(w).Encode(map[string]string{"issuer": issuer.URL, "jwks_uri": issuer.URL + "/keys"})
	})
	mux.HandleFunc("/keys", func(w http.ResponseWriter, _ *http.Request) {
		_ = json.NewEncoder(w).Encode(jose.JSONWebKeySet{Keys: []jose.JSONWebKey{{Key: public, KeyID: "one"}}})
	})
	w = newWorldWith(t, func(c *api.Config) {
		if c.Tokens, err = token.New(token.Config{Issuer: issuer.URL, Audience: "rideout", Clock: c.Clock}); err != nil {
			t.Fatal(err)
		}
	})
	signer, err := jose.NewSigner(jose.SigningKey{Algorithm: jose.EdDSA, Key: jose.JSONWebKey{Key: private, KeyID: "one"}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return w, func(changes map[string]any) string {
		claims := map[string]any{
			"iss": issuer.URL, "aud": "rideout", "sub": "skipper@example.org", "organisation_id": uuid.UUID{1}, "scope": "plans:read plans:write",
			"nbf": noon.Unix(), "exp": noon.Add(time.Hour).Unix(),
		}
		for name, value := range changes {
			claims[name] = value
		}
		payload, _ := json.Marshal(claims)
		signed, err := signer.Sign(payload)
		if err != nil {
			t.Fatal(err)
		}
		text, err := signed.CompactSerialize()
		if err != nil {
			t.Fatal(err)
		}
		return text
	}, issuer
}

func TestTokenOpensItsOrganisation(t *testing.T) {
	t.Parallel()
	w, sign, _ := issued(t)
	answer := w.do(http.MethodPost, "/v1/plans", exampleBody(t), "Idempotency-Key", "token", "Authorization", "Bearer "+sign(nil))
	if answer.StatusCode != http.StatusCreated {
		t.Fatalf("create: %d %s", answer.StatusCode, text(t, answer))
	}
	address := answer.Header.Get("Location")
	if got := w.do(http.MethodGet, address, ""); got.StatusCode != http.StatusOK {
		t.Errorf("the same organisation's key: %d", got.StatusCode)
	}
	if got := w.do(http.MethodGet, address, "", "Authorization", "Bearer "+sign(map[string]any{"organisation_id": uuid.UUID{2}})); got.StatusCode != http.StatusNotFound {
		t.Errorf("a token of another organisation: %d, want 404", got.StatusCode)
	}
	record, err := w.history.Plan(t.Context(), uuid.UUID{1}, uuid.MustParse(strings.TrimPrefix(address, "/v1/plans/")))
	if err != nil || !strings.HasPrefix(record.By, "oidc_") || strings.Contains(record.By, "skipper") {
		t.Errorf("recorded by %q, error %v; want a name that is not the subject", record.By, err)
	}
}

func TestTokenIsRefused(t *testing.T) {
	t.Parallel()
	w, sign, issuer := issued(t)
	for what, bearer := range map[string]string{
		"expired": sign(map[string]any{"exp": noon.Add(-time.Hour).Unix(), "nbf": noon.Add(-2 * time.Hour).Unix()}), "for others": sign(map[string]any{"aud": "elsewhere"}), "no token": "ahoy",
	} {
		answer := w.do(http.MethodGet, "/v1/plans", "", "Authorization", "Bearer "+bearer)
		if p := problem(t, answer); answer.StatusCode != http.StatusUnauthorized || !strings.Contains(p.Detail, "the token is refused") || answer.Header.Get("WWW-Authenticate") == "" {
			t.Errorf("%s: %d %+v", what, answer.StatusCode, p)
		}
	}
	if strings.Contains(w.log.String(), sign(nil)[:40]) {
		t.Error("the log holds a token")
	}
	issuer.Close()
	w.pass(2 * time.Hour)
	answer := w.do(http.MethodGet, "/v1/plans", "", "Authorization", "Bearer "+sign(map[string]any{"exp": noon.Add(3 * time.Hour).Unix()}))
	if answer.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("with the issuer gone: %d, want 503", answer.StatusCode)
	}
	if got := w.do(http.MethodGet, "/v1/plans", ""); got.StatusCode != http.StatusOK {
		t.Errorf("a key, with the issuer gone: %d, want 200", got.StatusCode)
	}
}

func TestStreamOfATokenEndsWithIt(t *testing.T) {
	t.Parallel()
	w, sign, _ := issued(t)
	w.key = sign(map[string]any{"scope": "audit:read", "exp": noon.Add(time.Minute).Unix()})
	answer := w.stream(w.serveReal(nil)+"/v1/events/stream", "")
	time.AfterFunc(100*time.Millisecond, func() { w.pass(time.Minute + token.Skew) })
	if _, err := io.Copy(io.Discard, answer.Body); err != nil {
		t.Errorf("the stream ended with %v, want its end", err)
	}
}

func TestTokensAreOffUnlessConfigured(t *testing.T) {
	t.Parallel()
	_, sign, _ := issued(t)
	if answer := newWorld(t).do(http.MethodGet, "/v1/plans", "", "Authorization", "Bearer "+sign(nil)); answer.StatusCode != http.StatusUnauthorized {
		t.Errorf("got %d, want 401", answer.StatusCode)
	}
}
