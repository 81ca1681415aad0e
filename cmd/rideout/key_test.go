package main

import (
	"strings"
	"testing"

	"rideout/service"
	"rideout/store/private"
)

// A key's life on the command line.
func TestKeysOnTheCommandLine(t *testing.T) {
	t.Parallel()
	server, err := private.Start(t.Context(), "", private.Options{Throwaway: true})
	if err != nil {
		t.Fatal(err)
	}
	defer server.Stop()
	rideout := func(code int, args ...string) outcome {
		t.Helper()
		got := runWith(t, map[string]string{"DATABASE_URL": server.URL()}, args...)
		if got.code != code {
			t.Fatalf("%q: got code %d, %q and %q, want code %d", args, got.code, got.stdout, got.stderr, code)
		}
		return got
	}
	name := func(text string) string {
		t.Helper()
		key, err := service.ParseKey(strings.TrimSpace(text))
		if err != nil {
			t.Fatalf("%q is no key: %v", text, err)
		}
		return key.Name()
	}
	const org = "--organisation=Vestvik"
	if got := rideout(exitBadInput, "key", org, "--scopes=plans:read,everything", "--expires=2001-01-01T00:00:00Z"); !strings.Contains(got.stderr, "/scopes/1: is no scope") || !strings.Contains(got.stderr, "/expires_at") {
		t.Errorf("wrong scopes and end: %q", got.stderr)
	}
	if got := rideout(exitBadInput, "key", org, "--expires=soon"); !strings.Contains(got.stderr, "2160h") {
		t.Errorf("wrong end: %q", got.stderr)
	}
	if got := rideout(exitBadInput, "key", "list", org); !strings.Contains(got.stderr, `no organisation "Vestvik"`) {
		t.Errorf("a refused key made its organisation: %q", got.stderr)
	}
	first := name(rideout(exitOK, "key", org).stdout)
	reader := name(rideout(exitOK, "key", org, "--label=Booking", "--scopes=plans:read, audit:read", "--expires=2160h").stdout)
	next := name(rideout(exitOK, "key", "rotate", org, "--name="+reader, "--overlap=1h").stdout)
	if got := rideout(exitOK, "key", "revoke", org, "--name="+reader); !strings.Contains(got.stdout, reader+" is revoked since 2") {
		t.Errorf("revoked: %q", got.stdout)
	}
	if got := rideout(exitFailed, "key", "revoke", org, "--name="+first); !strings.Contains(got.stderr, "last_admin_key") {
		t.Errorf("the last that makes keys: %q", got.stderr)
	}
	if got := rideout(exitBadInput, "key", "revoke", "--organisation=Hamna", "--name="+next); !strings.Contains(got.stderr, `no organisation "Hamna"`) {
		t.Errorf("another organisation: %q", got.stderr)
	}
	list := strings.Split(strings.TrimSpace(rideout(exitOK, "key", "list", org).stdout), "\n")
	if len(list) != 4 || !strings.Contains(list[1], next) || !strings.Contains(list[2], reader) || !strings.Contains(list[3], first) {
		t.Fatalf("listed\n%s", strings.Join(list, "\n"))
	}
	if !strings.Contains(list[1], "audit:read,plans:read") || strings.HasSuffix(list[2], "-") || !strings.HasSuffix(list[1], "-") || strings.Contains(list[3], "rescue:emergency") {
		t.Errorf("listed\n%s", strings.Join(list, "\n"))
	}
}
