package token

import (
	"context"
	"crypto/rsa"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"github.com/go-jose/go-jose/v4"
)

const (
	// pause is the least time between two requests to the issuer, however many unknown key ids arrive.
	pause = 30 * time.Second
	// fresh is how long keys are used before they are asked for anew, so that one taken back is soon refused.
	fresh = 10 * time.Minute
	// stale is how long they are used when the issuer does not answer.
	stale = time.Hour

	fetchTimeout = 5 * time.Second
	mostAnswered = 1 << 20
	leastRSABits = 2048 // RFC 7518, 3.3
)

// keys are the issuer's public keys by their ids, fetched when they are needed. go-oidc's own set asks the issuer for each
// unknown id. It is safe for concurrent use.
type keys struct {
	issuer string
	client *http.Client
	now    func() time.Time

	mu       sync.Mutex
	known    map[string]jose.JSONWebKey
	fetched  time.Time // when known was
	tried    time.Time // when the issuer was last asked
	failed   error     // what came of it
	fetching chan struct{}
}

func newKeys(c Config) *keys {
	return &keys{issuer: c.Issuer, now: c.Clock, client: &http.Client{
		Transport: bounded{c.Transport}, Timeout: fetchTimeout,
		CheckRedirect: func(*http.Request, []*http.Request) error { return errors.New("redirects are not followed") },
	}}
}

// find returns the key with an id. It asks the issuer for keys that are not fresh or not known, when it may.
func (k *keys) find(ctx context.Context, id string) (jose.JSONWebKey, error) {
	k.mu.Lock()
	key, known := k.known[id]
	now := k.now()
	if known && now.Sub(k.fetched) < fresh {
		k.mu.Unlock()
		return key, nil
	}
	if k.fetching == nil && (k.tried.IsZero() || now.Sub(k.tried) >= pause) {
		k.tried, k.fetching = now, make(chan struct{})
		go k.fetch(context.WithoutCancel(ctx), k.fetching)
	}
	fetching := k.fetching
	k.mu.Unlock()
	if fetching != nil {
		select {
		case <-fetching:
		case <-ctx.Done():
			return key, ctx.Err()
		}
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	key, known = k.known[id]
	switch {
	case k.known == nil || k.now().Sub(k.fetched) >= stale:
		return key, fmt.Errorf("%w: %w", ErrUnavailable, k.failed)
	case known:
		return key, nil
	case k.failed != nil: // it may be one of the keys that could not be fetched
		return key, fmt.Errorf("%w: %w", ErrUnavailable, k.failed)
	}
	return key, &Refusal{Reason: "its key is none of the issuer's"}
}

// fetch asks the issuer where its keys are, and for them.
func (k *keys) fetch(ctx context.Context, done chan struct{}) {
	ctx, cancel := context.WithTimeout(ctx, fetchTimeout)
	defer cancel()
	known, err := k.ask(ctx)
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.failed = err; err == nil {
		k.known, k.fetched = known, k.now()
	}
	k.fetching = nil
	close(done)
}

func (k *keys) ask(ctx context.Context) (map[string]jose.JSONWebKey, error) {
	// go-oidc checks that the document is of the issuer itself (OpenID Connect Discovery 1.0, 4.3).
	provider, err := oidc.NewProvider(oidc.ClientContext(ctx, k.client), k.issuer)
	if err != nil {
		return nil, fmt.Errorf("ask the issuer for its configuration: %w", err)
	}
	var where struct {
		Keys string `json:"jwks_uri"`
	}
	if err := provider.Claims(&where); err != nil {
		return nil, fmt.Errorf("read the issuer's configuration: %w", err)
	}
	if err := checkAddress(where.Keys); err != nil {
		return nil, fmt.Errorf("the issuer's jwks_uri: %w", err)
	}
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, where.Keys, nil)
	if err != nil {
		return nil, err
	}
	answer, err := k.client.Do(request)
	if err != nil {
		return nil, fmt.Errorf("ask the issuer for its keys: %w", err)
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("ask the issuer for its keys: %s", answer.Status)
	}
	var set jose.JSONWebKeySet
	if err := json.NewDecoder(answer.Body).Decode(&set); err != nil {
		return nil, fmt.Errorf("read the issuer's keys: %w", err)
	}
	return usable(set), nil
}

// usable keeps the public keys for signatures that have an id, of two with one the first.
func usable(set jose.JSONWebKeySet) map[string]jose.JSONWebKey {
	known := map[string]jose.JSONWebKey{}
	for _, key := range set.Keys {
		_, twice := known[key.KeyID]
		rsaKey, isRSA := key.Key.(*rsa.PublicKey)
		switch {
		case key.KeyID == "", twice, !key.Valid(), !key.IsPublic(), key.Use != "" && key.Use != "sig":
		case isRSA && rsaKey.N.BitLen() < leastRSABits:
		default:
			known[key.KeyID] = key
		}
	}
	return known
}

// asked is keys for one token. go-oidc does not pass on which error its set returned, so it is kept.
type asked struct {
	keys *keys
	err  error
}

// VerifySignature returns the payload of a token that one of the issuer's keys has signed.
func (a *asked) VerifySignature(ctx context.Context, text string) ([]byte, error) {
	signed, err := jose.ParseSignedCompact(text, signatureAlgorithms())
	if err != nil {
		return nil, err
	}
	header := signed.Signatures[0].Header
	if header.KeyID == "" {
		a.err = &Refusal{Reason: "it names no key (kid)"}
		return nil, a.err
	}
	key, err := a.keys.find(ctx, header.KeyID)
	if err != nil {
		a.err = err
		return nil, err
	}
	if key.Algorithm != "" && key.Algorithm != header.Algorithm {
		return nil, fmt.Errorf("the key is for %s, the token is signed with %s", key.Algorithm, header.Algorithm)
	}
	return signed.Verify(key)
}

func signatureAlgorithms() []jose.SignatureAlgorithm {
	all := make([]jose.SignatureAlgorithm, len(Algorithms))
	for i, a := range Algorithms {
		all[i] = jose.SignatureAlgorithm(a)
	}
	return all
}

// bounded ends answers that are longer than any issuer's.
type bounded struct{ http.RoundTripper }

func (b bounded) RoundTrip(r *http.Request) (*http.Response, error) {
	answer, err := b.RoundTripper.RoundTrip(r)
	if err == nil {
		answer.Body = struct {
			io.Reader
			io.Closer
		}{io.LimitReader(answer.Body, mostAnswered), answer.Body}
	}
	return answer, err
}
