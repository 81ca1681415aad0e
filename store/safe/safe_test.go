package safe_test

import (
	"bytes"
	"encoding/base64"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"rideout/store/safe"
)

func made(t *testing.T) (*safe.Safe, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "deep", "secrets.key")
	s, err := safe.LoadOrMake(path)
	if err != nil {
		t.Fatal(err)
	}
	return s, path
}

func TestWhatIsSealedOpensInItsPlaceAlone(t *testing.T) {
	t.Parallel()
	s, path := made(t)
	secret := []byte("the cook's recipe")
	sealed := s.Seal("galley", secret)
	if bytes.Contains(sealed, secret) {
		t.Errorf("sealed %q shows the secret", sealed)
	}
	if again := s.Seal("galley", secret); bytes.Equal(again, sealed) {
		t.Error("sealed twice alike: the nonce is not by chance")
	}
	reloaded, err := safe.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := reloaded.Open("galley", sealed); err != nil || !bytes.Equal(got, secret) {
		t.Errorf("opened: got %q, %v, want %q", got, err, secret)
	}
	if _, err := s.Open("saloon", sealed); !errors.Is(err, safe.ErrSealed) {
		t.Errorf("in another place: got %v, want %v", err, safe.ErrSealed)
	}
	for i := range sealed {
		changed := bytes.Clone(sealed)
		changed[i] ^= 1
		if _, err := s.Open("galley", changed); !errors.Is(err, safe.ErrSealed) {
			t.Errorf("byte %d changed: got %v, want %v", i, err, safe.ErrSealed)
		}
		if _, err := s.Open("galley", sealed[:i]); !errors.Is(err, safe.ErrSealed) {
			t.Errorf("cut to %d bytes: got %v, want %v", i, err, safe.ErrSealed)
		}
	}
	other, _ := made(t)
	if _, err := other.Open("galley", sealed); !errors.Is(err, safe.ErrSealed) {
		t.Errorf("under another key: got %v, want %v", err, safe.ErrSealed)
	}
}

func TestANewLineSealsAndTheOldOneOpensStill(t *testing.T) {
	t.Parallel()
	s, path := made(t)
	sealed := s.Seal("galley", []byte("old"))
	old, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	fresh := base64.StdEncoding.EncodeToString(bytes.Repeat([]byte{7}, 32))
	if err := os.WriteFile(path, []byte("# newest first\n"+fresh+"\n"+string(old)), 0o600); err != nil {
		t.Fatal(err)
	}
	both, err := safe.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := both.Open("galley", sealed); err != nil || string(got) != "old" {
		t.Errorf("sealed before: got %q, %v", got, err)
	}
	if _, err := s.Open("galley", both.Seal("galley", []byte("new"))); !errors.Is(err, safe.ErrSealed) {
		t.Errorf("sealed by the new key and opened by the old: got %v, want %v", err, safe.ErrSealed)
	}
}

func TestFileIsTheOwnersAlone(t *testing.T) {
	t.Parallel()
	_, path := made(t)
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("made with mode %v, %v, want 0600", info.Mode(), err)
	}
	if err := os.Chmod(path, 0o640); err != nil {
		t.Fatal(err)
	}
	if _, err := safe.Load(path); err == nil || !strings.Contains(err.Error(), "chmod 600") {
		t.Errorf("mode 0640: got %v, want what to do", err)
	}
}

func TestWrongFilesAreRefusedWithoutShowingThem(t *testing.T) {
	t.Parallel()
	for name, text := range map[string]string{
		"empty": "", "only words": "# nothing\n", "short": "c2hvcnQ=\n", "no base64": "tell-tale\n", "one good and one cut": base64.StdEncoding.EncodeToString(make([]byte, 32)) + "\ntell-tale",
	} {
		path := filepath.Join(t.TempDir(), "key")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := safe.Load(path); err == nil || strings.Contains(err.Error(), "tell-tale") {
			t.Errorf("%s: got %v, want a refusal that does not show the line", name, err)
		}
	}
	if _, err := safe.Load(filepath.Join(t.TempDir(), "none")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: got %v", err)
	}
}

func TestProcessesThatStartAtOnceMakeOneKey(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "key")
	safes := make([]*safe.Safe, 8)
	var all sync.WaitGroup
	for i := range safes {
		all.Go(func() {
			s, err := safe.LoadOrMake(path)
			if err != nil {
				t.Error(err)
			}
			safes[i] = s
		})
	}
	all.Wait()
	if t.Failed() {
		return
	}
	sealed := safes[0].Seal("x", []byte("y"))
	for i, s := range safes {
		if _, err := s.Open("x", sealed); err != nil {
			t.Errorf("process %d has another key", i)
		}
	}
}
