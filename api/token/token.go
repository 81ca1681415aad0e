// Package token verifies bearer tokens (JWT, RFC 7519) of one OpenID Connect issuer: who asks, for which organisation,
// with which scopes. The token is checked here and nowhere else; what it opens is decided by whoever asked.
//
// Refused is, each by itself: an algorithm that is not in Algorithms, a signature by no key of the issuer, another issuer
// or audience, a token without exp or nbf, one outside them by more than Skew, one that runs longer than Longest, and one
// without sub, key id or organisation. RFC 8725 names most of these.
package token

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"github.com/google/uuid"
)

const (
	// Skew is how far the issuer's clock and ours may differ.
	Skew = time.Minute
	// Longest is how long from now a token may run. It cannot be revoked, so one made to last is refused.
	Longest = 24 * time.Hour
	// mostBytes is more than any issuer needs for the claims we read.
	mostBytes = 8 << 10
)

// Algorithms are the signatures taken: only such as need the issuer's private key. None and the HMACs are not among them.
var Algorithms = []string{oidc.RS256, oidc.PS256, oidc.ES256, oidc.ES384, oidc.EdDSA}

// ErrUnavailable says that the issuer's keys cannot be had, so nothing can be said of a token.
var ErrUnavailable = errors.New("the issuer's keys cannot be had")

// Refusal says why a token is refused, in words that may reach the caller.
type Refusal struct {
	Reason string
	Err    error // the cause, for the log alone
}

func (r *Refusal) Error() string {
	if r.Err != nil {
		return "token refused: " + r.Reason + ": " + r.Err.Error()
	}
	return "token refused: " + r.Reason
}

func (r *Refusal) Unwrap() error { return r.Err }

// Config says whose tokens are taken. Issuer and Audience must be set; the zero value of the rest is a default.
type Config struct {
	Issuer            string // its address, as in iss: https, or http on this machine
	Audience          string // what aud must hold
	OrganisationClaim string // holds the organisation's id; organisation_id
	ScopeClaim        string // holds the scopes, as a text with spaces or a list of texts; scope (RFC 9068)
	Transport         http.RoundTripper
	Clock             func() time.Time
}

// Bearer is who a token speaks for.
type Bearer struct {
	Organisation uuid.UUID
	Subject      string    // sub, as the issuer wrote it
	Scopes       []string  // all of them; some may be none of ours
	Until        time.Time // exp; the token is taken for Skew longer
}

// Verifier verifies tokens. It is safe for concurrent use.
type Verifier struct {
	config Config
	keys   *keys
}

// New makes a verifier. It asks the issuer for nothing before the first token comes, so an issuer that is down delays no start.
func New(c Config) (*Verifier, error) {
	if err := checkAddress(c.Issuer); err != nil {
		return nil, fmt.Errorf("issuer: %w", err)
	}
	if c.Audience == "" {
		return nil, errors.New("audience: must be set, or tokens for others would open ours")
	}
	if c.OrganisationClaim == "" {
		c.OrganisationClaim = "organisation_id"
	}
	if c.ScopeClaim == "" {
		c.ScopeClaim = "scope"
	}
	if c.Clock == nil {
		c.Clock = time.Now
	}
	if c.Transport == nil {
		c.Transport = http.DefaultTransport
	}
	return &Verifier{config: c, keys: newKeys(c)}, nil
}

// checkAddress demands https. Without it whoever stands in between gives the keys.
func checkAddress(address string) error {
	u, err := url.Parse(address)
	if err != nil || u.Host == "" {
		return fmt.Errorf("%q is no address such as https://login.example.org", address)
	}
	ip := net.ParseIP(u.Hostname())
	if u.Scheme == "https" || u.Scheme == "http" && ip != nil && ip.IsLoopback() {
		return nil
	}
	return fmt.Errorf("%q must be https", address)
}

// Verify returns who a token speaks for. The error is a *Refusal, or ErrUnavailable.
func (v *Verifier) Verify(ctx context.Context, text string) (Bearer, error) {
	if len(text) > mostBytes {
		return Bearer{}, &Refusal{Reason: "it is too long"}
	}
	asked := &asked{keys: v.keys}
	verified, err := oidc.NewVerifier(v.config.Issuer, asked, &oidc.Config{
		ClientID: v.config.Audience, SupportedSigningAlgs: Algorithms, Now: v.config.Clock,
		SkipExpiryCheck: true, // checkTimes does: go-oidc does not ask for nbf, and lets it be 5 minutes off
	}).Verify(ctx, text)
	switch {
	case asked.err != nil:
		return Bearer{}, asked.err
	case err != nil:
		return Bearer{}, &Refusal{Reason: "its form, algorithm, signature, issuer or audience is wrong", Err: err}
	}
	var claims map[string]json.RawMessage
	if err := verified.Claims(&claims); err != nil {
		return Bearer{}, &Refusal{Reason: "its claims cannot be read", Err: err}
	}
	b := Bearer{Subject: verified.Subject}
	if b.Subject == "" {
		return Bearer{}, &Refusal{Reason: "sub is missing"}
	}
	if b.Until, err = checkTimes(claims, v.config.Clock()); err != nil {
		return Bearer{}, err
	}
	if b.Organisation, err = organisation(claims, v.config.OrganisationClaim); err != nil {
		return Bearer{}, err
	}
	b.Scopes, err = scopes(claims, v.config.ScopeClaim)
	return b, err
}

// checkTimes demands exp and nbf, and that now lies between them.
func checkTimes(claims map[string]json.RawMessage, now time.Time) (until time.Time, err error) {
	until, err = instant(claims, "exp")
	if err != nil {
		return until, err
	}
	from, err := instant(claims, "nbf")
	switch {
	case err != nil:
		return until, err
	case !now.Before(until.Add(Skew)):
		return until, &Refusal{Reason: "it has expired"}
	case now.Before(from.Add(-Skew)):
		return until, &Refusal{Reason: "it is not valid yet"}
	case until.After(now.Add(Longest + Skew)):
		return until, &Refusal{Reason: fmt.Sprintf("it runs longer than %v", Longest)}
	}
	return until, nil
}

// instant reads a NumericDate: seconds, which may have a fraction.
func instant(claims map[string]json.RawMessage, name string) (time.Time, error) {
	raw, there := claims[name]
	var seconds *float64
	if !there {
		return time.Time{}, &Refusal{Reason: name + " is missing"}
	}
	const year9999 = 253402300799
	if err := json.Unmarshal(raw, &seconds); err != nil || seconds == nil || *seconds < 0 || *seconds > year9999 {
		return time.Time{}, &Refusal{Reason: name + " is no time", Err: err}
	}
	return time.UnixMilli(int64(*seconds * 1000)), nil
}

func organisation(claims map[string]json.RawMessage, name string) (uuid.UUID, error) {
	raw, there := claims[name]
	if !there {
		return uuid.Nil, &Refusal{Reason: name + " is missing"}
	}
	var text string
	if err := json.Unmarshal(raw, &text); err != nil {
		return uuid.Nil, &Refusal{Reason: name + " is no text", Err: err}
	}
	id, err := uuid.Parse(text)
	if err != nil || id == uuid.Nil || len(text) != len(uuid.Nil.String()) {
		return uuid.Nil, &Refusal{Reason: name + " is no id of an organisation", Err: err}
	}
	return id, nil
}

// scopes reads scopes in either of the forms that are about. No claim is no scope.
func scopes(claims map[string]json.RawMessage, name string) ([]string, error) {
	raw, there := claims[name]
	if !there {
		return nil, nil
	}
	var text string
	if err := json.Unmarshal(raw, &text); err == nil {
		return strings.Fields(text), nil
	}
	var list []string
	if err := json.Unmarshal(raw, &list); err != nil {
		return nil, &Refusal{Reason: name + " is neither a text nor a list of texts", Err: err}
	}
	return list, nil
}
