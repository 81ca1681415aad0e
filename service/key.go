package service

import (
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"hash/crc32"
	"log/slog"
	"strings"
)

// ErrMalformedKey says that a text is no key: its form or its checksum is wrong.
var ErrMalformedKey = errors.New("malformed key")

// A key reads ro_IIIIIIII_SSSSSSSSSSSSSSSSSSSSSSSSSSSSSSSSCCCCCCC: I names it, S is 160 bits of chance, C is the
// CRC-32 of all before it, so that a mistyped or cut key is told apart without asking the store.
const (
	keyPrefix      = "ro_"
	keyIDLen       = 8
	keySecretLen   = 32
	keyChecksumLen = 7
	// keyAlphabet has 32 letters, none easily taken for another. Its length divides 256, so that a
	// byte of chance gives each with the same weight.
	keyAlphabet = "0123456789abcdefghjkmnpqrstvwxyz"
)

// Key is an organisation's secret. Only its hash is kept. Printing or logging it shows its name
// alone; Reveal gives the whole. The zero value is no key.
type Key struct{ text string }

// NewKey makes a key.
func NewKey() Key {
	body := keyPrefix + chance(keyIDLen) + "_" + chance(keySecretLen)
	return Key{body + checksum(body)}
}

// ParseKey reads a key as sent and returns ErrMalformedKey for what is none.
func ParseKey(text string) (Key, error) {
	const length = len(keyPrefix) + keyIDLen + 1 + keySecretLen + keyChecksumLen
	if len(text) != length || !strings.HasPrefix(text, keyPrefix) || text[len(keyPrefix)+keyIDLen] != '_' {
		return Key{}, ErrMalformedKey
	}
	body := text[:length-keyChecksumLen]
	if checksum(body) != text[length-keyChecksumLen:] {
		return Key{}, ErrMalformedKey
	}
	return Key{text}, nil
}

// Hash gives the SHA-256 of the key, which is what the store keeps. With 160 bits of chance in the
// key no slow hash is needed.
func (k Key) Hash() []byte {
	sum := sha256.Sum256([]byte(k.text))
	return sum[:]
}

// Reveal gives the key itself, for the one time it is shown.
func (k Key) Reveal() string { return k.text }

// Name gives the key's name, which is no secret.
func (k Key) Name() string {
	if k.text == "" {
		return ""
	}
	return k.text[:len(keyPrefix)+keyIDLen]
}

// String gives the key's name, and shows that there is more to it.
func (k Key) String() string {
	if k.text == "" {
		return ""
	}
	return k.Name() + "_..."
}

// GoString keeps the secret out of %#v.
func (k Key) GoString() string { return "service.Key(" + k.String() + ")" }

// LogValue keeps the secret out of logs.
func (k Key) LogValue() slog.Value { return slog.StringValue(k.String()) }

func chance(n int) string {
	b := make([]byte, n)
	_, _ = rand.Read(b) // never fails: the runtime aborts without a source of chance
	for i := range b {
		b[i] = keyAlphabet[int(b[i])%len(keyAlphabet)]
	}
	return string(b)
}

func checksum(body string) string {
	sum := crc32.ChecksumIEEE([]byte(body))
	b := make([]byte, keyChecksumLen)
	for i := range b {
		b[i] = keyAlphabet[sum%32]
		sum /= 32
	}
	return string(b)
}
