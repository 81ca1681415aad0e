package api

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"rideout/service"
)

type callerKey struct{}

// caller is who asks: an organisation, by one of its keys, and what that may do.
type caller struct {
	org    service.OrgID
	by     string // the key's name
	scopes []service.Scope
	hash   []byte // of the key; nil: it was none

	until   time.Time // when a token is refused; zero: it was none
	session uuid.UUID // on the board; Nil: none
}

func callerOf(ctx context.Context) caller {
	c, _ := ctx.Value(callerKey{}).(caller)
	return c
}

// org gives the organisation of a request that has passed requireKey.
func org(ctx context.Context) service.OrgID { return callerOf(ctx).org }

// by gives the name of the key of a request that has passed requireKey.
func by(ctx context.Context) string { return callerOf(ctx).by }

// whose names who asks among all organisations: a token's subject may speak for several of them.
func whose(ctx context.Context) string { return org(ctx).String() + " " + by(ctx) }

// asking gives the caller to use cases that look at what it may do.
func asking(ctx context.Context) service.Caller {
	c := callerOf(ctx)
	return service.Caller{By: c.by, Scopes: c.scopes}
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
		id, record, err := a.keyring.holder(r.Context(), key.Hash(), key.Name())
		switch {
		case errors.Is(err, service.ErrNotFound):
			return unauthenticated("the key is unknown or revoked")
		case errors.Is(err, errExpired):
			return unauthenticated("the key has expired")
		case errors.Is(err, service.ErrUnavailable):
			return &service.Error{Kind: service.KindUnavailable, Message: "keys cannot be looked up", Err: err}
		case err != nil:
			return fmt.Errorf("look up key: %w", err)
		}
		known := caller{org: id, by: key.Name(), scopes: record.Scopes, hash: key.Hash()}
		c.SetRequest(r.WithContext(context.WithValue(r.Context(), callerKey{}, known)))
		return next(c)
	}
}

// require lets a request pass whose caller has a scope.
func require(scope service.Scope) echo.MiddlewareFunc {
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			if !asking(c.Request().Context()).May(scope) {
				return &service.Error{Kind: service.KindForbidden, Message: fmt.Sprintf("this route asks for the scope %s, which your key has not", scope)}
			}
			return next(c)
		}
	}
}

func unauthenticated(message string) error {
	return &service.Error{Kind: kindUnauthenticated, Message: message}
}

const (
	// keyKept is how long a key that was looked up is believed, and how often a stream looks its own up again: a
	// revoked key opens nothing within 5 s.
	keyKept     = 4 * time.Second
	keysKeptMax = 10_000
	// keyUseNoted is how often the use of a key is noted.
	keyUseNoted = time.Minute
	// notePatience is how long a request waits for that.
	notePatience = time.Second
)

// errExpired says that a key was good once.
var errExpired = errors.New("the key has expired")

// keyCache remembers for a short while whose a key is. Unknown keys are not remembered. It is safe for concurrent use.
type keyCache struct {
	keyring service.Keyring
	now     func() time.Time
	log     *slog.Logger

	mu    sync.Mutex
	known map[string]keptKey
}

type keptKey struct {
	org    service.OrgID
	record service.KeyRecord
	until  time.Time
}

// holder gives whose a key is. It returns service.ErrNotFound for one that is unknown or revoked, and errExpired.
func (k *keyCache) holder(ctx context.Context, hash []byte, name string) (service.OrgID, service.KeyRecord, error) {
	now := k.now()
	k.mu.Lock()
	kept, ok := k.known[string(hash)]
	k.mu.Unlock()
	if !ok || !now.Before(kept.until) {
		var err error
		if kept, err = k.lookUp(ctx, hash); err != nil {
			return service.OrgID{}, service.KeyRecord{}, err
		}
		k.noteUse(ctx, kept, name, now)
	}
	if kept.record.Ended(now) {
		return service.OrgID{}, service.KeyRecord{}, errExpired
	}
	return kept.org, kept.record, nil
}

// lookUp asks the store and remembers. It is found by the hash of what was sent, so the time it takes tells nothing of a
// key that somebody is guessing at.
func (k *keyCache) lookUp(ctx context.Context, hash []byte) (kept keptKey, err error) {
	kept.until = k.now().Add(keyKept) // from before it is asked
	kept.org, kept.record, err = k.keyring.KeyByHash(ctx, hash)
	k.mu.Lock()
	defer k.mu.Unlock()
	if err != nil {
		if errors.Is(err, service.ErrNotFound) {
			delete(k.known, string(hash))
		}
		return keptKey{}, err
	}
	if k.known == nil || len(k.known) >= keysKeptMax {
		k.known = map[string]keptKey{}
	}
	k.known[string(hash)] = kept
	return kept, nil
}

// stands looks a key up anew. A store that cannot be asked does not end anything: the next look will.
func (k *keyCache) stands(ctx context.Context, hash []byte) bool {
	kept, err := k.lookUp(ctx, hash)
	return !errors.Is(err, service.ErrNotFound) && (err != nil || !kept.record.Ended(k.now()))
}

// stands looks anew whether who asks by a key, a token or a session may go on.
func (a *API) stands(ctx context.Context) bool {
	c := callerOf(ctx)
	if !c.until.IsZero() && !a.now().Before(c.until) {
		return false
	}
	if c.hash != nil && !a.keyring.stands(ctx, c.hash) {
		return false
	}
	if c.session == uuid.Nil {
		return true
	}
	ended, err := a.ended.SessionEnded(ctx, c.org, c.session)
	return err != nil || !ended
}

// forget makes the end of a key known to this process at once.
func (k *keyCache) forget(id uuid.UUID) {
	k.mu.Lock()
	defer k.mu.Unlock()
	for hash, kept := range k.known {
		if kept.record.ID == id {
			delete(k.known, hash)
		}
	}
}

// noteUse notes when a key was last used. A request does not fail for it.
func (k *keyCache) noteUse(ctx context.Context, kept keptKey, name string, now time.Time) {
	if kept.record.Ended(now) || now.Sub(kept.record.LastUsedAt) < keyUseNoted {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, notePatience)
	defer cancel()
	if err := k.keyring.KeyUsed(ctx, kept.org, kept.record.ID, name, now); err != nil {
		k.log.Warn("the use of a key was not noted", "key", name, "error", err)
	}
}
