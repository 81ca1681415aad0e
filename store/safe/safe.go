// Package safe seals secrets that must be read again, under a key which is in a file and never in the database. So a
// dump of the database, or a backup of it, tells none of them.
package safe

import (
	"bytes"
	"crypto/aes"
	"crypto/cipher"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

const (
	keyBytes  = 32 // AES-256
	nameBytes = 4  // of a key, at the head of what it sealed
	format    = 1
)

// ErrSealed says that what was sealed cannot be opened: it was changed, is another's, or its key is not in the file.
var ErrSealed = errors.New("sealed under another key or for another place")

// Safe seals with AES-256-GCM. It is safe for concurrent use.
type Safe struct {
	keys []key // the first seals; all open
}

type key struct {
	name []byte // the head of its hash
	aead cipher.AEAD
}

// Load reads a file of keys: 32 bytes in base64 on each line, of which the first seals and all open. To change the key put a new line before
// the old one, and take the old one out when nothing is sealed under it any more. Nobody but the owner may read the file.
func Load(path string) (*Safe, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("load the secrets' key: %w", err)
	}
	if open := info.Mode().Perm() & 0o077; open != 0 {
		return nil, fmt.Errorf("load the secrets' key: others may read %s (mode %04o): chmod 600 it", path, info.Mode().Perm())
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("load the secrets' key: %w", err)
	}
	s := &Safe{}
	for line := range strings.Lines(string(text)) {
		if line = strings.TrimSpace(line); line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		k, err := parse(line)
		if err != nil {
			return nil, fmt.Errorf("load the secrets' key: %s: %w", path, err) // which does not show the line
		}
		s.keys = append(s.keys, k)
	}
	if len(s.keys) == 0 {
		return nil, fmt.Errorf("load the secrets' key: %s holds none: put 32 bytes in base64 on a line", path)
	}
	return s, nil
}

// LoadOrMake is Load, and makes the file with a new key where there is none.
func LoadOrMake(path string) (*Safe, error) {
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		if err := create(path); err != nil {
			return nil, fmt.Errorf("make the secrets' key: %w", err)
		}
	}
	return Load(path)
}

// create writes the file whole and gives it its name last, so that of processes which start at once all read the same key.
func create(path string) (err error) {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	fresh := make([]byte, keyBytes)
	_, _ = rand.Read(fresh)                               // never fails: the runtime aborts without a source of chance
	f, err := os.CreateTemp(filepath.Dir(path), ".key-*") // which gives it mode 0600
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.Remove(f.Name())) }()
	_, err = fmt.Fprintln(f, base64.StdEncoding.EncodeToString(fresh))
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Link(f.Name(), path); !errors.Is(err, fs.ErrExist) {
		return err
	}
	return nil // another was first
}

func parse(line string) (key, error) {
	raw, err := base64.StdEncoding.DecodeString(line)
	if err != nil || len(raw) != keyBytes {
		return key{}, errors.New("a line is not 32 bytes in base64")
	}
	block, err := aes.NewCipher(raw)
	if err != nil {
		return key{}, err
	}
	// A nonce by chance: with 2^32 sealings under one key two would agree with a chance of 2^-33 (NIST SP 800-38D, 8.3).
	aead, err := cipher.NewGCMWithRandomNonce(block)
	if err != nil {
		return key{}, err
	}
	sum := sha256.Sum256(raw)
	return key{sum[:nameBytes], aead}, nil
}

// Seal closes a secret up for one place, which must be named again to open it.
func (s *Safe) Seal(place string, secret []byte) []byte {
	k := s.keys[0]
	head := append([]byte{format}, k.name...)
	return k.aead.Seal(head, nil, secret, []byte(place))
}

// Open gives a secret back. It returns ErrSealed where it cannot.
func (s *Safe) Open(place string, sealed []byte) ([]byte, error) {
	if len(sealed) < 1+nameBytes || sealed[0] != format {
		return nil, ErrSealed
	}
	for _, k := range s.keys {
		if bytes.Equal(k.name, sealed[1:1+nameBytes]) {
			if secret, err := k.aead.Open(nil, nil, sealed[1+nameBytes:], []byte(place)); err == nil {
				return secret, nil
			}
		}
	}
	return nil, ErrSealed
}
