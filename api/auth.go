package api

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"github.com/labstack/echo/v4"

	"rideout/service"
)

type callerKey struct{}

// caller is who asks: an organisation, by one of its keys.
type caller struct {
	org service.OrgID
	by  string // the key's name
}

// org gives the organisation of a request that has passed requireKey.
func org(ctx context.Context) service.OrgID {
	c, _ := ctx.Value(callerKey{}).(caller)
	return c.org
}

// by gives the name of the key of a request that has passed requireKey.
func by(ctx context.Context) string {
	c, _ := ctx.Value(callerKey{}).(caller)
	return c.by
}

// requireKey lets a request pass whose key is known and tells its organisation to what lies within.
func (a *API) requireKey(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		c.Response().Header().Add("Vary", "Authorization")
		scheme, text, _ := strings.Cut(r.Header.Get("Authorization"), " ")
		if !strings.EqualFold(scheme, "Bearer") {
			return unauthenticated("there is no key; send it as Authorization: Bearer ro_...")
		}
		text = strings.TrimSpace(text)
		if a.isToken(text) {
			known, err := a.callerByToken(r.Context(), text)
			if err != nil {
				return err
			}
			c.SetRequest(r.WithContext(context.WithValue(r.Context(), callerKey{}, known)))
			return next(c)
		}
		key, err := service.ParseKey(text)
		if err != nil {
			return unauthenticated("the key is mistyped or cut: its form or checksum is wrong")
		}
		id, err := a.keys.organisation(r.Context(), key.Hash())
		switch {
		case errors.Is(err, service.ErrNotFound):
			return unauthenticated("the key is unknown or revoked")
		case errors.Is(err, service.ErrUnavailable):
			return &service.Error{Kind: service.KindUnavailable, Message: "keys cannot be looked up", Err: err}
		case err != nil:
			return fmt.Errorf("look up key: %w", err)
		}
		c.SetRequest(r.WithContext(context.WithValue(r.Context(), callerKey{}, caller{id, key.Name()})))
		return next(c)
	}
}

func unauthenticated(message string) error {
	return &service.Error{Kind: kindUnauthenticated, Message: message}
}

// A known key is looked up again after keyKept, so that a revoked one is refused soon.
const (
	keyKept     = 5 * time.Second
	keysKeptMax = 10_000
)

// keyCache remembers for a short while which organisation a key belongs to. Unknown keys are not
// remembered. It is safe for concurrent use.
type keyCache struct {
	keyring service.Keyring
	now     func() time.Time

	mu    sync.Mutex
	known map[string]keptKey
}

type keptKey struct {
	org   service.OrgID
	until time.Time
}

func (k *keyCache) organisation(ctx context.Context, hash []byte) (service.OrgID, error) {
	now := k.now()
	k.mu.Lock()
	kept, ok := k.known[string(hash)]
	k.mu.Unlock()
	if ok && now.Before(kept.until) {
		return kept.org, nil
	}
	id, err := k.keyring.OrganisationByKeyHash(ctx, hash)
	if err != nil {
		return service.OrgID{}, err
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.known == nil || len(k.known) >= keysKeptMax {
		k.known = map[string]keptKey{}
	}
	k.known[string(hash)] = keptKey{id, now.Add(keyKept)}
	return id, nil
}
