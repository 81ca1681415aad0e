package token_test

import (
	"crypto"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"encoding/pem"
	"errors"
	"maps"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
	"github.com/google/uuid"

	"rideout/api/token"
)

var (
	noon   = time.Date(2026, 1, 12, 12, 0, 0, 0, time.UTC)
	school = uuid.MustParse("01945d2c-7c00-7000-8000-000000000001")
)

// issuer is an OpenID Connect issuer on this machine, with a clock that tests move.
type issuer struct {
	server *httptest.Server

	mu      sync.Mutex
	now     time.Time
	keys    []jose.JSONWebKey
	named   string // as issuer in its configuration; empty: as it is
	down    bool
	fetched int // how often its keys were
}

func newIssuer(t *testing.T, keys ...jose.JSONWebKey) *issuer {
	t.Helper()
	i := &issuer{now: noon, keys: keys}
	i.server = httptest.NewServer(http.HandlerFunc(i.answer))
	t.Cleanup(i.server.Close)
	return i
}

func (i *issuer) answer(w http.ResponseWriter, r *http.Request) {
	i.mu.Lock()
	defer i.mu.Unlock()
	if i.down {
		w.WriteHeader(http.StatusBadGateway)
		return
	}
	switch r.URL.Path {
	case "/.well-known/openid-configuration":
		name := i.named
		if name == "" {
			name = i.server.URL
		}
		_ = json.NewEncoder(w).Encode(map[string]any{"issuer": name, "jwks_uri": i.server.URL + "/keys"})
	case "/keys":
		i.fetched++
		_ = json.NewEncoder(w).Encode(jose.JSONWebKeySet{Keys: i.keys})
	default:
		w.WriteHeader(http.StatusNotFound)
	}
}

func (i *issuer) set(change func(*issuer)) {
	i.mu.Lock()
	defer i.mu.Unlock()
	change(i)
}

func (i *issuer) clock() time.Time {
	i.mu.Lock()
	defer i.mu.Unlock()
	return i.now
}

func (i *issuer) times() int {
	i.mu.Lock()
	defer i.mu.Unlock()
	return i.fetched
}

func (i *issuer) verifier(t *testing.T) *token.Verifier {
	t.Helper()
	v, err := token.New(token.Config{Issuer: i.server.URL, Audience: "rideout", Clock: i.clock})
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// claims of a token that is taken.
func (i *issuer) claims() map[string]any {
	return map[string]any{
		"iss": i.server.URL, "aud": []string{"elsewhere", "rideout"}, "sub": "duty-officer", "organisation_id": school.String(), "scope": "plans:read openid",
		"nbf": noon.Unix(), "exp": noon.Add(time.Hour).Unix(),
	}
}

// signer is a private key with its id and algorithm.
type signer struct {
	key       crypto.Signer
	id        string
	algorithm jose.SignatureAlgorithm
}

func (s signer) public() jose.JSONWebKey {
	return jose.JSONWebKey{Key: s.key.Public(), KeyID: s.id, Use: "sig"}
}

func (s signer) sign(t *testing.T, claims map[string]any) string {
	t.Helper()
	return compact(t, jose.SigningKey{Algorithm: s.algorithm, Key: jose.JSONWebKey{Key: s.key, KeyID: s.id}}, claims)
}

func compact(t *testing.T, key jose.SigningKey, claims map[string]any) string {
	t.Helper()
	with, err := jose.NewSigner(key, nil)
	if err != nil {
		t.Fatal(err)
	}
	payload, err := json.Marshal(claims)
	if err != nil {
		t.Fatal(err)
	}
	signed, err := with.Sign(payload)
	if err != nil {
		t.Fatal(err)
	}
	text, err := signed.CompactSerialize()
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func rsaSigner(t *testing.T, id string, bits int) signer {
	t.Helper()
	key, err := rsa.GenerateKey(rand.Reader, bits)
	if err != nil {
		t.Fatal(err)
	}
	return signer{key, id, jose.RS256}
}

func edSigner(t *testing.T, id string) signer {
	t.Helper()
	_, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return signer{key, id, jose.EdDSA}
}

func ecSigner(t *testing.T, id string) signer {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return signer{key, id, jose.ES256}
}

// with gives claims with some of them changed; nil takes one out.
func with(claims map[string]any, changes map[string]any) map[string]any {
	claims = maps.Clone(claims)
	for name, value := range changes {
		claims[name] = value
		if value == nil {
			delete(claims, name)
		}
	}
	return claims
}

func wantRefusal(t *testing.T, what string, err error, words string) {
	t.Helper()
	var refusal *token.Refusal
	if !errors.As(err, &refusal) || !strings.Contains(err.Error(), words) {
		t.Errorf("%s: got error %v, want a refusal with %q", what, err, words)
	}
}

func TestTokensAreTaken(t *testing.T) {
	t.Parallel()
	signers := []signer{rsaSigner(t, "rsa", 2048), ecSigner(t, "ec"), edSigner(t, "ed")}
	i := newIssuer(t)
	for _, s := range signers {
		i.keys = append(i.keys, s.public())
	}
	v := i.verifier(t)
	for _, s := range signers {
		b, err := v.Verify(t.Context(), s.sign(t, i.claims()))
		if err != nil || b.Organisation != school || b.Subject != "duty-officer" || !slices.Equal(b.Scopes, []string{"plans:read", "openid"}) || !b.Until.Equal(noon.Add(time.Hour)) {
			t.Errorf("%s: got %+v, error %v", s.algorithm, b, err)
		}
	}
	if got := i.times(); got != 1 {
		t.Errorf("the keys were fetched %d times, want once", got)
	}
	for what, changes := range map[string]map[string]any{
		"scopes as a list":              {"scope": []string{"plans:read", "openid"}},
		"one audience as a text":        {"aud": "rideout"},
		"a fraction of a second":        {"exp": float64(noon.Add(time.Hour).Unix()) + 0.25},
		"expired less than a skew ago":  {"exp": noon.Add(-59 * time.Second).Unix(), "nbf": noon.Add(-time.Hour).Unix()},
		"valid in less than a skew":     {"nbf": noon.Add(60 * time.Second).Unix()},
		"no longer than a token may do": {"exp": noon.Add(token.Longest).Unix()},
	} {
		if b, err := v.Verify(t.Context(), signers[2].sign(t, with(i.claims(), changes))); err != nil || len(b.Scopes) != 2 {
			t.Errorf("%s: got %+v, error %v", what, b, err)
		}
	}
	if b, err := v.Verify(t.Context(), signers[2].sign(t, with(i.claims(), map[string]any{"scope": nil}))); err != nil || len(b.Scopes) != 0 {
		t.Errorf("no scope: got %+v, error %v", b, err)
	}
}

func TestClaimsHaveTheNamesConfigured(t *testing.T) {
	t.Parallel()
	s := edSigner(t, "ed")
	i := newIssuer(t, s.public())
	v, err := token.New(token.Config{Issuer: i.server.URL, Audience: "rideout", OrganisationClaim: "https://example.org/fleet", ScopeClaim: "scp", Clock: i.clock})
	if err != nil {
		t.Fatal(err)
	}
	b, err := v.Verify(t.Context(), s.sign(t, with(i.claims(), map[string]any{"organisation_id": nil, "scope": "admin", "https://example.org/fleet": school, "scp": []string{"audit:read"}})))
	if err != nil || b.Organisation != school || !slices.Equal(b.Scopes, []string{"audit:read"}) {
		t.Errorf("got %+v, error %v", b, err)
	}
}

func TestEachClaimRefusesByItself(t *testing.T) {
	t.Parallel()
	s := edSigner(t, "ed")
	i := newIssuer(t, s.public())
	v := i.verifier(t)
	for what, c := range map[string]struct {
		changes map[string]any
		words   string
	}{
		"another issuer":         {map[string]any{"iss": "https://login.example.org"}, "issued by a different provider"},
		"no issuer":              {map[string]any{"iss": nil}, "issued by a different provider"},
		"another audience":       {map[string]any{"aud": "elsewhere"}, "expected audience"},
		"no audience":            {map[string]any{"aud": nil}, "expected audience"},
		"no exp":                 {map[string]any{"exp": nil}, "exp is missing"},
		"no nbf":                 {map[string]any{"nbf": nil}, "nbf is missing"},
		"nbf without a value":    {map[string]any{"nbf": json.RawMessage("null")}, ""},
		"expired":                {map[string]any{"exp": noon.Add(-time.Minute).Unix(), "nbf": noon.Add(-time.Hour).Unix()}, "it has expired"},
		"not valid yet":          {map[string]any{"nbf": noon.Add(61 * time.Second).Unix()}, "not valid yet"},
		"made to last":           {map[string]any{"exp": noon.Add(token.Longest + time.Hour).Unix()}, "runs longer"},
		"a time out of all time": {map[string]any{"exp": 1e300}, ""},
		"no sub":                 {map[string]any{"sub": nil}, "sub is missing"},
		"no organisation":        {map[string]any{"organisation_id": nil}, "organisation_id is missing"},
		"an organisation's name": {map[string]any{"organisation_id": "Hamna sailing school"}, "no id of an organisation"},
		"the nil organisation":   {map[string]any{"organisation_id": uuid.Nil}, "no id of an organisation"},
		"a number of scopes":     {map[string]any{"scope": 8}, "neither a text nor a list"},
	} {
		_, err := v.Verify(t.Context(), s.sign(t, with(i.claims(), c.changes)))
		wantRefusal(t, what, err, c.words)
	}
	if _, err := v.Verify(t.Context(), s.sign(t, i.claims())); err != nil {
		t.Errorf("unchanged: %v", err)
	}
}

func TestSignaturesThatAreNone(t *testing.T) {
	t.Parallel()
	rsaKey, ed, small, other := rsaSigner(t, "rsa", 2048), edSigner(t, "ed"), rsaSigner(t, "small", 1024), edSigner(t, "ed")
	encrypting := rsaSigner(t, "encrypting", 2048)
	notForThis := encrypting.public()
	notForThis.Use = "enc"
	secret := jose.JSONWebKey{Key: []byte("a secret that is published, which makes it none"), KeyID: "secret"}
	i := newIssuer(t, rsaKey.public(), ed.public(), small.public(), notForThis, secret)
	v := i.verifier(t)
	text := ed.sign(t, i.claims())
	parts := strings.Split(text, ".")

	der, err := x509.MarshalPKIXPublicKey(rsaKey.key.Public())
	if err != nil {
		t.Fatal(err)
	}
	public := pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: der})
	embedding, err := jose.NewSigner(jose.SigningKey{Algorithm: jose.EdDSA, Key: other.key}, &jose.SignerOptions{EmbedJWK: true})
	if err != nil {
		t.Fatal(err)
	}
	payload, err := base64.RawURLEncoding.DecodeString(parts[1])
	if err != nil {
		t.Fatal(err)
	}
	embedded, err := embedding.Sign(payload)
	if err != nil {
		t.Fatal(err)
	}
	withItsOwnKey, err := embedded.CompactSerialize()
	if err != nil {
		t.Fatal(err)
	}
	changed := base64.RawURLEncoding.EncodeToString([]byte(strings.Replace(string(payload), "duty-officer", "the-admiralty", 1)))
	header := func(text string) string { return base64.RawURLEncoding.EncodeToString([]byte(text)) }
	for what, c := range map[string]struct{ text, words string }{
		"alg none":                     {header(`{"alg":"none","kid":"ed"}`) + "." + parts[1] + ".", "malformed"},
		"alg none, signed":             {header(`{"alg":"none","kid":"ed"}`) + "." + parts[1] + "." + parts[2], "malformed"},
		"HS256 with the public key":    {compact(t, jose.SigningKey{Algorithm: jose.HS256, Key: jose.JSONWebKey{Key: public, KeyID: "rsa"}}, i.claims()), "malformed"},
		"HS256 with a key published":   {compact(t, jose.SigningKey{Algorithm: jose.HS256, Key: secret}, i.claims()), "malformed"},
		"another's key of the same id": {other.sign(t, i.claims()), "signature"},
		"changed after it was signed":  {parts[0] + "." + changed + "." + parts[2], "signature"},
		"no signature":                 {parts[0] + "." + parts[1] + ".", ""},
		"a key it brings along":        {withItsOwnKey, "names no key"},
		"a key for encryption":         {encrypting.sign(t, i.claims()), "none of the issuer's"},
		"a short RSA key":              {small.sign(t, i.claims()), "none of the issuer's"},
		"a key of another kind":        {signer{other.key, "rsa", jose.EdDSA}.sign(t, i.claims()), "signature"},
		"RS512, which is not taken":    {signer{rsaKey.key, "rsa", jose.RS512}.sign(t, i.claims()), "malformed"},
		"no token":                     {"ahoy", "malformed"},
		"nothing":                      {"", "malformed"},
		"too long":                     {text + strings.Repeat("A", 8<<10), "too long"},
	} {
		_, err := v.Verify(t.Context(), c.text)
		wantRefusal(t, what, err, c.words)
	}
	if _, err := v.Verify(t.Context(), text); err != nil {
		t.Errorf("unchanged: %v", err)
	}
}

func TestKeyForOneAlgorithm(t *testing.T) {
	t.Parallel()
	s := rsaSigner(t, "rsa", 2048)
	public := s.public()
	public.Algorithm = "PS256"
	i := newIssuer(t, public)
	v := i.verifier(t)
	_, err := v.Verify(t.Context(), s.sign(t, i.claims()))
	wantRefusal(t, "RS256 by a key for PS256", err, "the key is for PS256")
	s.algorithm = jose.PS256
	if _, err := v.Verify(t.Context(), s.sign(t, i.claims())); err != nil {
		t.Errorf("PS256: %v", err)
	}
}

func TestFloodOfUnknownKeys(t *testing.T) {
	t.Parallel()
	s := edSigner(t, "ed")
	i := newIssuer(t, s.public())
	v := i.verifier(t)
	flood := func(n int) {
		var all sync.WaitGroup
		for range n {
			stranger := signer{s.key, uuid.NewString(), s.algorithm}.sign(t, i.claims())
			all.Go(func() {
				_, err := v.Verify(t.Context(), stranger)
				wantRefusal(t, "a key id that is none", err, "none of the issuer's")
			})
		}
		all.Wait()
	}
	flood(200)
	if got := i.times(); got != 1 {
		t.Errorf("200 unknown key ids: the keys were fetched %d times, want once", got)
	}
	i.set(func(i *issuer) { i.now = i.now.Add(29 * time.Second) })
	flood(100)
	if got := i.times(); got != 1 {
		t.Errorf("29 s later: fetched %d times, want once", got)
	}
	i.set(func(i *issuer) { i.now = i.now.Add(time.Second) })
	flood(100)
	if got := i.times(); got != 2 {
		t.Errorf("30 s later: fetched %d times, want 2", got)
	}
	if _, err := v.Verify(t.Context(), s.sign(t, i.claims())); err != nil {
		t.Errorf("the known key after the flood: %v", err)
	}
}

func TestKeysAreExchangedAtTheIssuer(t *testing.T) {
	t.Parallel()
	first, second := edSigner(t, "first"), ecSigner(t, "second")
	i := newIssuer(t, first.public())
	v := i.verifier(t)
	verify := func(s signer) error {
		_, err := v.Verify(t.Context(), s.sign(t, i.claims()))
		return err
	}
	if err := verify(first); err != nil {
		t.Fatalf("the first key: %v", err)
	}
	i.set(func(i *issuer) {
		i.keys, i.now = []jose.JSONWebKey{first.public(), second.public()}, i.now.Add(31*time.Second)
	})
	for _, s := range []signer{second, first} {
		if err := verify(s); err != nil {
			t.Errorf("%s while both are published: %v", s.id, err)
		}
	}
	i.set(func(i *issuer) { i.keys, i.now = []jose.JSONWebKey{second.public()}, i.now.Add(10*time.Minute) })
	wantRefusal(t, "a key taken back", verify(first), "none of the issuer's")
	if err := verify(second); err != nil {
		t.Errorf("the second key: %v", err)
	}
}

func TestIssuerIsDown(t *testing.T) {
	t.Parallel()
	s := edSigner(t, "ed")
	i := newIssuer(t, s.public())
	i.down = true
	v := i.verifier(t)
	long := with(i.claims(), map[string]any{"exp": noon.Add(10 * time.Hour).Unix()})
	verify := func() error {
		_, err := v.Verify(t.Context(), s.sign(t, long))
		return err
	}
	if err := verify(); !errors.Is(err, token.ErrUnavailable) {
		t.Errorf("from the start: got %v, want %v", err, token.ErrUnavailable)
	}
	i.set(func(i *issuer) { i.down, i.now = false, i.now.Add(30*time.Second) })
	if err := verify(); err != nil {
		t.Fatalf("up again: %v", err)
	}
	i.set(func(i *issuer) { i.down, i.now = true, i.now.Add(59*time.Minute) })
	if err := verify(); err != nil {
		t.Errorf("down for 59 minutes: %v", err)
	}
	_, err := v.Verify(t.Context(), signer{s.key, "other", s.algorithm}.sign(t, long))
	if !errors.Is(err, token.ErrUnavailable) {
		t.Errorf("an unknown key while down: got %v, want %v", err, token.ErrUnavailable)
	}
	i.set(func(i *issuer) { i.now = i.now.Add(time.Minute) })
	if err := verify(); !errors.Is(err, token.ErrUnavailable) {
		t.Errorf("down for an hour: got %v, want %v", err, token.ErrUnavailable)
	}
}

func TestConfigurationOfAnother(t *testing.T) {
	t.Parallel()
	s := edSigner(t, "ed")
	i := newIssuer(t, s.public())
	i.named = "https://login.example.org"
	if _, err := i.verifier(t).Verify(t.Context(), s.sign(t, i.claims())); !errors.Is(err, token.ErrUnavailable) {
		t.Errorf("got %v, want %v", err, token.ErrUnavailable)
	}
	if got := i.times(); got != 0 {
		t.Errorf("keys were fetched %d times", got)
	}
}

func TestWrongConfigurations(t *testing.T) {
	t.Parallel()
	for _, c := range []token.Config{
		{},
		{Issuer: "https://login.example.org"},
		{Audience: "rideout"},
		{Issuer: "http://login.example.org", Audience: "rideout"},
		{Issuer: "login.example.org", Audience: "rideout"},
		{Issuer: "://", Audience: "rideout"},
		{Issuer: "http://10.0.0.1", Audience: "rideout"},
	} {
		if _, err := token.New(c); err == nil {
			t.Errorf("%+v: got no error", c)
		}
	}
	if _, err := token.New(token.Config{Issuer: "https://login.example.org", Audience: "rideout"}); err != nil {
		t.Error(err)
	}
}
