package api

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/google/uuid"

	"rideout/api/page/board"
)

// A session is what the browser of somebody signed in sends back: who signed in and when, sealed, so that every replica
// with the same secret can read it and none has to remember it. The key itself is not in it. Its hash is, by which it is
// looked up as with every other request: a revoked key ends its sessions within keyKept. The hash opens nothing by itself.
//
// What is remembered are the sessions that were signed out of, until they would be too old: so a copy of the cookie ends too.
type session struct {
	ID   uuid.UUID
	Hash []byte // of the key
	Name string // of the key
	At   time.Time
}

// SessionSecretBytes is the least length of a secret.
const SessionSecretBytes = 32

const sessionLife = 12 * time.Hour // a working day

// sessions seals sessions and makes the tokens of forms. It is safe for concurrent use.
type sessions struct {
	aead   cipher.AEAD
	forms  []byte
	secure bool
	now    func() time.Time
}

// newSessions makes its keys from the secret. Without one it takes chance: then sessions end with the process, and are
// known to it alone.
func newSessions(secret []byte, secure bool, now func() time.Time) (*sessions, error) {
	if secret == nil {
		secret = make([]byte, SessionSecretBytes)
		_, _ = rand.Read(secret) // never fails
	}
	if len(secret) < SessionSecretBytes {
		return nil, fmt.Errorf("the secret of sessions has %d bytes, at least %d are needed", len(secret), SessionSecretBytes)
	}
	sealing, err := hkdf.Key(sha256.New, secret, nil, "rideout board session", 32)
	if err != nil {
		return nil, fmt.Errorf("derive a key: %w", err)
	}
	forms, err := hkdf.Key(sha256.New, secret, nil, "rideout board form", 32)
	if err != nil {
		return nil, fmt.Errorf("derive a key: %w", err)
	}
	block, err := aes.NewCipher(sealing)
	if err != nil {
		return nil, fmt.Errorf("make a cipher: %w", err)
	}
	aead, err := cipher.NewGCMWithRandomNonce(block)
	return &sessions{aead, forms, secure, now}, err
}

const sessionVersion = 2

// seal writes version, time, id, hash and name.
func (s *sessions) seal(of session) string {
	plain := []byte{sessionVersion}
	plain = binary.BigEndian.AppendUint64(plain, uint64(of.At.Unix()))
	plain = append(plain, of.ID[:]...)
	plain = append(plain, of.Hash...)
	plain = append(plain, of.Name...)
	return base64.RawURLEncoding.EncodeToString(s.aead.Seal(nil, nil, plain, nil))
}

var errNoSession = errors.New("no session")

// open returns errNoSession for what was not sealed here, was changed, or is too old.
func (s *sessions) open(text string) (session, error) {
	sealed, err := base64.RawURLEncoding.DecodeString(text)
	if err != nil {
		return session{}, errNoSession
	}
	plain, err := s.aead.Open(nil, nil, sealed, nil)
	const id, hash, head = 1 + 8, 1 + 8 + 16, 1 + 8 + 16 + sha256.Size
	if err != nil || len(plain) < head || plain[0] != sessionVersion {
		return session{}, errNoSession
	}
	of := session{uuid.UUID(plain[id:hash]), plain[hash:head], string(plain[head:]), time.Unix(int64(binary.BigEndian.Uint64(plain[1:id])), 0)}
	if !s.now().Before(of.At.Add(sessionLife)) {
		return session{}, errNoSession
	}
	return of, nil
}

// The names of the cookies. By the prefix a browser takes one only over TLS.
func (s *sessions) cookie(r *http.Request, name string) *http.Cookie {
	secure := s.secure || r.TLS != nil
	if secure {
		name = "__Secure-" + name
	}
	// The path keeps the cookie from the API: nothing there can be done by it.
	return &http.Cookie{Name: name, Path: board.Root, HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: secure}
}

const (
	sessionCookie = "rideout_session"
	formCookie    = "rideout_form" // of somebody who is not signed in yet
)

// read gives what a cookie holds; empty: there is none.
func (s *sessions) read(r *http.Request, name string) string {
	sent, err := r.Cookie(s.cookie(r, name).Name)
	if err != nil {
		return ""
	}
	return sent.Value
}

// put sets a cookie for as long as the browser is open, and an empty one ends it.
func (s *sessions) put(w http.ResponseWriter, r *http.Request, name, value string) {
	c := s.cookie(r, name)
	if c.Value = value; value == "" {
		c.MaxAge = -1
	}
	http.SetCookie(w, c)
}

// formToken goes with every form of who holds a cookie. A page of another origin can read neither.
func (s *sessions) formToken(cookie string) string {
	mac := hmac.New(sha256.New, s.forms)
	mac.Write([]byte(cookie))
	return base64.RawURLEncoding.EncodeToString(mac.Sum(nil))
}

// formIsOurs tells whether a form carries the token of the cookie it came with.
func (s *sessions) formIsOurs(cookie, token string) bool {
	return cookie != "" && hmac.Equal([]byte(token), []byte(s.formToken(cookie)))
}
