package service_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"strings"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"rideout/service"
)

func TestSignatureIsThePublishedOne(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("../testdata/published/signature.json")
	if err != nil {
		t.Fatal(err)
	}
	var rows []struct {
		Name, Source, Secret, ID, Body, Want string
		TimestampS                           int64 `json:"timestamp_s"`
	}
	if err := json.Unmarshal(text, &rows); err != nil || len(rows) == 0 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, r := range rows {
		secret, err := service.ParseSigningSecret(r.Secret)
		if err != nil {
			t.Errorf("%s: %v", r.Name, err)
			continue
		}
		if got := secret.Sign(r.ID, time.Unix(r.TimestampS, 0), []byte(r.Body)); got != r.Want {
			t.Errorf("%s: got %s, want %s (%s)", r.Name, got, r.Want, r.Source)
		}
		if got := secret.Reveal(); got != r.Secret {
			t.Errorf("%s: the secret comes back as %s, want %s", r.Name, got, r.Secret)
		}
	}
}

// The standard's own library verifies what we sign, under secrets of ours and with several signatures.
func TestReferenceLibraryVerifiesOurSignature(t *testing.T) {
	t.Parallel()
	old, current := service.NewSigningSecret(), service.NewSigningSecret()
	id, at, body := "01945d2c-7c00-7000-8000-0000000000aa-7", time.Now(), []byte(`{"specversion":"1.0"}`)
	header := http.Header{}
	header.Set("webhook-id", id)
	header.Set("webhook-timestamp", fmt.Sprint(at.Unix()))
	header.Set("webhook-signature", current.Sign(id, at, body)+" "+old.Sign(id, at, body))
	for name, s := range map[string]service.SigningSecret{"old": old, "current": current} {
		reference, err := standardwebhooks.NewWebhook(s.Reveal())
		if err != nil {
			t.Fatal(err)
		}
		if err := reference.Verify(body, header); err != nil {
			t.Errorf("%s secret: %v", name, err)
		}
		if err := reference.Verify([]byte(`{"specversion":"1.1"}`), header); err == nil {
			t.Errorf("%s secret: a changed body passes", name)
		}
	}
	stranger, err := standardwebhooks.NewWebhook(service.NewSigningSecret().Reveal())
	if err != nil {
		t.Fatal(err)
	}
	if err := stranger.Verify(body, header); err == nil {
		t.Error("another's secret passes")
	}
}

func TestMalformedSigningSecrets(t *testing.T) {
	t.Parallel()
	for _, text := range []string{"", "whsec_", "whsec_c2hvcnQ=", "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "whsec_" + strings.Repeat("AAAA", 22), "whsec_!!!!!!!!!!!!!!!!!!!!!!!!!!!!!!!!"} {
		if _, err := service.ParseSigningSecret(text); !errors.Is(err, service.ErrMalformedSecret) {
			t.Errorf("%q: got %v, want %v", text, err, service.ErrMalformedSecret)
		}
	}
}

func TestSigningSecretIsNotPrinted(t *testing.T) {
	t.Parallel()
	s := service.NewSigningSecret()
	hidden := strings.TrimPrefix(s.Reveal(), "whsec_")
	var log strings.Builder
	slog.New(slog.NewTextHandler(&log, nil)).Info("made", "secret", s)
	for _, shown := range []string{fmt.Sprint(s), fmt.Sprintf("%v %+v %#v %s %q", s, s, s, s, s), log.String()} {
		if strings.Contains(shown, hidden) || strings.Contains(shown, fmt.Sprint([]byte(hidden)[:4])) {
			t.Errorf("shown: %s", shown)
		}
	}
}
