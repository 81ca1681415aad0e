package service_test

import (
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"testing"

	"rideout/service"
)

func TestKeyReadsBackAsMade(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for range 200 {
		key := service.NewKey()
		text := key.Reveal()
		if seen[text] {
			t.Fatalf("key %s was made twice", key)
		}
		seen[text] = true
		again, err := service.ParseKey(text)
		if err != nil || again != key {
			t.Fatalf("ParseKey(NewKey()) = %v, %v, want the key", again, err)
		}
		if got := len(key.Hash()); got != 32 {
			t.Fatalf("hash has %d bytes, want 32", got)
		}
		if parts := strings.Split(text, "_"); len(parts) != 3 || parts[0] != "ro" || len(parts[1]) != 8 || len(parts[2]) != 39 {
			t.Fatalf("key has the form %q, want ro_8_39", text)
		}
	}
}

func TestKeyWithAnySingleSlipIsRefused(t *testing.T) {
	t.Parallel()
	text := service.NewKey().Reveal()
	for i := range text {
		slipped := []byte(text)
		if slipped[i] = 'q'; text[i] == 'q' {
			slipped[i] = 'w'
		}
		if _, err := service.ParseKey(string(slipped)); !errors.Is(err, service.ErrMalformedKey) {
			t.Errorf("slip at %d: error %v, want ErrMalformedKey", i, err)
		}
	}
	for _, text := range []string{"", "ro_", text[:len(text)-1], text + "0", " " + text, strings.ToUpper(text)} {
		if _, err := service.ParseKey(text); !errors.Is(err, service.ErrMalformedKey) {
			t.Errorf("ParseKey(%q): error %v, want ErrMalformedKey", text, err)
		}
	}
}

func TestKeyKeepsItsSecretWhenPrinted(t *testing.T) {
	t.Parallel()
	key := service.NewKey()
	secret := key.Reveal()[12:]
	var logged strings.Builder
	slog.New(slog.NewTextHandler(&logged, nil)).Info("made", "key", key)
	for _, printed := range []string{key.String(), fmt.Sprint(key), fmt.Sprintf("%v %+v %#v %s", key, key, key, key), logged.String()} {
		if strings.Contains(printed, secret) {
			t.Errorf("%q shows the secret", printed)
		}
		if !strings.Contains(printed, key.Reveal()[:11]) {
			t.Errorf("%q does not name the key", printed)
		}
	}
	if got := (service.Key{}).String(); got != "" {
		t.Errorf("the zero key prints as %q, want nothing", got)
	}
}
