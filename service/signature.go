package service

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"time"
)

// Messages to webhooks are signed as Standard Webhooks 1.0.0 says (spec/standard-webhooks.md, "Signature scheme"):
// HMAC-SHA256 over id.timestamp.body, in base64 after "v1,".
const (
	signingPrefix   = "whsec_"
	signingBytes    = 32
	leastSigning    = 24
	mostSigning     = 64
	signatureScheme = "v1"
)

// ErrMalformedSecret says that a text is no signing secret.
var ErrMalformedSecret = errors.New("malformed signing secret")

// SigningSecret is what a receiver tells our messages by. Printing or logging it shows nothing of it; Reveal gives the whole.
type SigningSecret struct{ key []byte }

// NewSigningSecret makes one by chance.
func NewSigningSecret() SigningSecret {
	key := make([]byte, signingBytes)
	_, _ = rand.Read(key) // never fails: the runtime aborts without a source of chance
	return SigningSecret{key}
}

// ParseSigningSecret reads one in its serialized form. It returns ErrMalformedSecret for what is none.
func ParseSigningSecret(text string) (SigningSecret, error) {
	encoded, ok := strings.CutPrefix(text, signingPrefix)
	key, err := base64.StdEncoding.DecodeString(encoded)
	if !ok || err != nil || len(key) < leastSigning || len(key) > mostSigning {
		return SigningSecret{}, ErrMalformedSecret
	}
	return SigningSecret{key}, nil
}

// Sign gives the signature of a message, one member of the header webhook-signature. An id must not hold a full stop.
func (s SigningSecret) Sign(id string, at time.Time, body []byte) string {
	mac := hmac.New(sha256.New, s.key)
	fmt.Fprintf(mac, "%s.%d.", id, at.Unix())
	mac.Write(body)
	return signatureScheme + "," + base64.StdEncoding.EncodeToString(mac.Sum(nil))
}

// Reveal gives the secret itself, for the one time it is shown and for keeping it sealed.
func (s SigningSecret) Reveal() string {
	return signingPrefix + base64.StdEncoding.EncodeToString(s.key)
}

// String shows nothing of the secret.
func (SigningSecret) String() string { return signingPrefix + "..." }

// GoString keeps the secret out of %#v.
func (SigningSecret) GoString() string { return "service.SigningSecret(" + signingPrefix + "...)" }

// LogValue keeps the secret out of logs.
func (SigningSecret) LogValue() slog.Value { return slog.StringValue(signingPrefix + "...") }
