package ledger

import (
	"crypto/ed25519"
	"encoding/base64"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"strings"

	"golang.org/x/mod/sumdb/note"
)

// GenerateKey makes a pair of keys in their text forms. The name tells people whose key it is, such as a host's, and has
// neither a space nor a plus. Random must be a source fit for keys, such as that of crypto/rand.
func GenerateKey(random io.Reader, name string) (private, public string, err error) {
	private, public, err = note.GenerateKey(random, name)
	if err != nil {
		return "", "", fmt.Errorf("generate a key: %w", err)
	}
	if _, err := note.NewVerifier(public); err != nil {
		return "", "", fmt.Errorf("%w: a key's name is one word without a plus, not %q", ErrMalformed, name)
	}
	return private, public, nil
}

// Signer is a private key. Printing or logging it shows its name alone. The zero value signs nothing.
type Signer struct {
	signer note.Signer
	public string
}

// NewSigner reads a private key.
func NewSigner(private string) (Signer, error) {
	s, err := note.NewSigner(private)
	if err != nil {
		return Signer{}, fmt.Errorf("%w: not a private key", ErrMalformed) // err might quote it one day
	}
	public, err := publicOf(private)
	return Signer{s, public}, err
}

// publicOf gives the public half of a private key, which ends in base64 of 0x01 and the seed.
func publicOf(private string) (string, error) {
	parts := strings.SplitN(private, "+", 5) // PRIVATE, KEY, name, number, key
	key, err := base64.StdEncoding.DecodeString(parts[len(parts)-1])
	if err != nil || len(parts) != 5 || len(key) != 1+ed25519.SeedSize {
		return "", fmt.Errorf("%w: not a private key", ErrMalformed)
	}
	public, err := note.NewEd25519VerifierKey(parts[2], ed25519.NewKeyFromSeed(key[1:]).Public().(ed25519.PublicKey))
	if err != nil {
		return "", fmt.Errorf("%w: not a private key", ErrMalformed)
	}
	return public, nil
}

// Public gives the public half in its text form, which is no secret; empty for the zero value.
func (s Signer) Public() string { return s.public }

// String gives the key's name.
func (s Signer) String() string {
	if s.signer == nil {
		return ""
	}
	return s.signer.Name()
}

// GoString keeps the secret out of %#v.
func (s Signer) GoString() string { return "ledger.Signer(" + s.String() + ")" }

// LogValue keeps the secret out of logs.
func (s Signer) LogValue() slog.Value { return slog.StringValue(s.String()) }

// Verifiers are the public keys that are trusted, old ones among them. The zero value trusts none.
type Verifiers struct{ known note.Verifiers }

// NewVerifiers reads public keys.
func NewVerifiers(public ...string) (Verifiers, error) {
	public = slices.Compact(slices.Sorted(slices.Values(public))) // one given twice would be ambiguous
	known := make([]note.Verifier, len(public))
	for i, text := range public {
		v, err := note.NewVerifier(text)
		if err != nil {
			return Verifiers{}, fmt.Errorf("%w: public key %q: %w", ErrMalformed, text, err)
		}
		known[i] = v
	}
	return Verifiers{note.VerifierList(known...)}, nil
}
