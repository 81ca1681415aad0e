package api

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"slices"
	"strings"

	"rideout/api/token"
	"rideout/service"
)

// keyBegins is what every key begins with, and no token of an issuer.
const keyBegins = "ro_"

// isToken tells whether a bearer is to be read as an issuer's token.
func (a *API) isToken(text string) bool {
	return a.tokens != nil && !strings.HasPrefix(text, keyBegins)
}

// callerByToken gives the caller an issuer's token speaks for.
func (a *API) callerByToken(ctx context.Context, text string) (caller, error) {
	bearer, err := a.tokens.Verify(ctx, text)
	var refusal *token.Refusal
	switch {
	case errors.As(err, &refusal):
		return caller{}, &service.Error{Kind: kindUnauthenticated, Message: "the token is refused: " + refusal.Reason, Err: err}
	case errors.Is(err, token.ErrUnavailable):
		return caller{}, &service.Error{Kind: service.KindUnavailable, Message: "tokens cannot be verified, because the issuer's keys cannot be had", Err: err}
	case err != nil:
		return caller{}, err
	}
	known := caller{org: bearer.Organisation, by: subjectName(bearer.Subject), until: bearer.Until.Add(token.Skew)}
	for _, scope := range service.AllScopes() {
		if slices.Contains(bearer.Scopes, string(scope)) {
			known.scopes = append(known.scopes, scope)
		}
	}
	return known, nil
}

// subjectName names a token's subject where a key has its name: in the log, for good. A subject may be a person's
// address, so its hash stands for it, which the issuer can tell and nobody can erase for.
func subjectName(subject string) string {
	sum := sha256.Sum256([]byte(subject))
	return "oidc_" + hex.EncodeToString(sum[:8])
}
