package ledger_test

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"testing"

	"rideout/service/ledger"
)

const keyName = "rideout.example"

// pair makes a key and reads both halves.
func pair(t testing.TB) (ledger.Signer, ledger.Verifiers, string) {
	t.Helper()
	private, public, err := ledger.GenerateKey(rand.Reader, keyName)
	if err != nil {
		t.Fatal(err)
	}
	signer, err := ledger.NewSigner(private)
	if err != nil {
		t.Fatal(err)
	}
	if signer.Public() != public {
		t.Fatalf("the signer's public key is %q, want %q", signer.Public(), public)
	}
	known, err := ledger.NewVerifiers(public, public) // given twice, it is one
	if err != nil {
		t.Fatal(err)
	}
	return signer, known, public
}

func signed(t testing.TB, s ledger.Signer, c ledger.Checkpoint) []byte {
	t.Helper()
	text, err := s.Sign(c)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func TestCheckpointOpensAsSigned(t *testing.T) {
	t.Parallel()
	signer, known, _ := pair(t)
	s := grown(t, 9)
	for size := int64(0); size <= 9; size++ {
		c := s.at(t, size)
		got, err := known.Open(signed(t, signer, c))
		if err != nil || got != c {
			t.Errorf("opens as %v, %v; want %v", got, err, c)
		}
	}
}

// TestCheckpointBySpecification reads a signed checkpoint by the text of C2SP's signed-note and tlog-checkpoint, with the standard
// library's Ed25519 alone.
func TestCheckpointBySpecification(t *testing.T) {
	t.Parallel()
	signer, _, public := pair(t)
	c := grown(t, 3).at(t, 3)
	text, rest, found := strings.Cut(string(signed(t, signer, c)), "\n\n")
	if want := "rideout/" + org.String() + "\n3\n" + base64.StdEncoding.EncodeToString(c.Root[:]); !found || text != want {
		t.Fatalf("text %q, want %q", text, want)
	}
	line, ok := strings.CutPrefix(rest, "— "+keyName+" ")
	sig, err := base64.StdEncoding.DecodeString(strings.TrimSuffix(line, "\n"))
	if !ok || err != nil || len(sig) != 4+ed25519.SignatureSize {
		t.Fatalf("signature line %q", rest)
	}
	parts := strings.SplitN(public, "+", 3)
	key, err := base64.StdEncoding.DecodeString(parts[2])
	if err != nil || len(key) != 1+ed25519.PublicKeySize || key[0] != 1 {
		t.Fatalf("public key %q", public)
	}
	number := sha256.Sum256([]byte(keyName + "\n" + string(key)))
	if !bytes.Equal(sig[:4], number[:4]) || parts[0] != keyName || parts[1] != hex.EncodeToString(number[:4]) {
		t.Errorf("the key's number is %x and %s, want %x", sig[:4], parts[1], number[:4])
	}
	if !ed25519.Verify(key[1:], []byte(text+"\n"), sig[4:]) {
		t.Error("the signature is not that of the three lines")
	}
}

// TestCheckpointWithAnyByteAlteredIsRefused leaves out the two bits that base64 has over in the last digit.
func TestCheckpointWithAnyByteAlteredIsRefused(t *testing.T) {
	t.Parallel()
	signer, known, _ := pair(t)
	c := grown(t, 12).at(t, 12)
	text := signed(t, signer, c)
	for i := range text {
		for bit := range 8 {
			altered := bytes.Clone(text)
			altered[i] ^= 1 << bit
			if got, err := known.Open(altered); err == nil && got != c {
				t.Errorf("byte %d, bit %d: opens as %v", i, bit, got)
			} else if err != nil && !errors.Is(err, ledger.ErrUnsigned) && !errors.Is(err, ledger.ErrMalformed) {
				t.Errorf("byte %d, bit %d: error %v", i, bit, err)
			}
		}
		if _, err := known.Open(text[:i]); err == nil {
			t.Errorf("the first %d bytes open", i)
		}
	}
}

func TestCheckpointOfAnotherKeyIsRefused(t *testing.T) {
	t.Parallel()
	signer, known, public := pair(t)
	other, others, otherPublic := pair(t) // of the same name
	c := grown(t, 2).at(t, 2)
	text := signed(t, signer, c)
	for name, v := range map[string]ledger.Verifiers{"another key": others, "no key": {}} {
		if _, err := v.Open(text); !errors.Is(err, ledger.ErrUnsigned) {
			t.Errorf("%s: error %v, want ErrUnsigned", name, err)
		}
	}
	both, err := ledger.NewVerifiers(public, otherPublic)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range []ledger.Signer{signer, other} {
		if got, err := both.Open(signed(t, s, c)); err != nil || got != c {
			t.Errorf("with both keys known: %v, %v", got, err)
		}
	}
	_, line, _ := strings.Cut(string(signed(t, other, c)), "\n\n")
	if got, err := known.Open([]byte(string(text) + line)); err != nil || got != c {
		t.Errorf("with a second signature, unknown: %v, %v", got, err)
	}
}

// TestOnlyThreeLinesAreACheckpoint signs what Sign would not.
func TestOnlyThreeLinesAreACheckpoint(t *testing.T) {
	t.Parallel()
	_, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	key := append([]byte{1}, private.Public().(ed25519.PublicKey)...)
	number := sha256.Sum256([]byte(keyName + "\n" + string(key)))
	known, err := ledger.NewVerifiers(fmt.Sprintf("%s+%x+%s", keyName, number[:4], base64.StdEncoding.EncodeToString(key)))
	if err != nil {
		t.Fatal(err)
	}
	sign := func(text string) []byte {
		sig := append(number[:4:4], ed25519.Sign(private, []byte(text))...)
		return fmt.Appendf(nil, "%s\n— %s %s\n", text, keyName, base64.StdEncoding.EncodeToString(sig))
	}
	c := grown(t, 2).at(t, 2)
	if got, err := known.Open(sign(c.Text())); err != nil || got != c {
		t.Fatalf("the three lines open as %v, %v", got, err)
	}
	lines := strings.SplitAfter(c.Text(), "\n")
	for name, text := range map[string]string{
		"two lines":           lines[0] + lines[1],
		"four lines":          c.Text() + "more\n",
		"another origin":      "other/" + org.String() + "\n" + lines[1] + lines[2],
		"no organisation":     "rideout/x\n" + lines[1] + lines[2],
		"upper-case id":       "rideout/" + strings.ToUpper(org.String()) + "\n" + lines[1] + lines[2],
		"leading zero":        lines[0] + "02\n" + lines[2],
		"negative size":       lines[0] + "-2\n" + lines[2],
		"no size":             lines[0] + "two\n" + lines[2],
		"size that overflows": lines[0] + "4611686018427387905\n" + lines[2],
		"short root":          lines[0] + lines[1] + "AAAA\n",
		"root with bits over": lines[0] + lines[1] + strings.Repeat("A", 42) + "B=\n",
		"wrong root of none":  lines[0] + "0\n" + lines[2],
	} {
		if got, err := known.Open(sign(text)); !errors.Is(err, ledger.ErrMalformed) {
			t.Errorf("%s: opens as %v, %v; want ErrMalformed", name, got, err)
		}
	}
	long := append(sign(c.Text()), strings.Repeat("x", 1<<17)...)
	if _, err := known.Open(long); !errors.Is(err, ledger.ErrMalformed) {
		t.Errorf("a long one: error %v, want ErrMalformed", err)
	}
}

func TestWrongCheckpointIsNotSigned(t *testing.T) {
	t.Parallel()
	signer, _, _ := pair(t)
	for name, c := range map[string]ledger.Checkpoint{
		"zero value": {}, "negative": {OrgID: org, Size: -1}, "too large": {OrgID: org, Size: 1<<48 + 1},
	} {
		if text, err := signer.Sign(c); !errors.Is(err, ledger.ErrMalformed) {
			t.Errorf("%s: %q, %v; want ErrMalformed", name, text, err)
		}
	}
	if _, err := (ledger.Signer{}).Sign(grown(t, 1).at(t, 1)); err == nil {
		t.Error("the zero signer signs")
	}
}

func TestKeyKeepsItsSecretWhenPrinted(t *testing.T) {
	t.Parallel()
	private, public, err := ledger.GenerateKey(rand.Reader, keyName)
	if err != nil {
		t.Fatal(err)
	}
	signer, err := ledger.NewSigner(private)
	if err != nil {
		t.Fatal(err)
	}
	secret := strings.SplitN(private, "+", 5)[4]
	var logged strings.Builder
	slog.New(slog.NewTextHandler(&logged, nil)).Info("made", "key", signer)
	for _, printed := range []string{fmt.Sprintf("%v %+v %#v %s", signer, signer, signer, signer), logged.String(), public} {
		if strings.Contains(printed, secret) || !strings.Contains(printed, keyName) {
			t.Errorf("%q shows the secret, or not the name", printed)
		}
	}
	if got := (ledger.Signer{}).String(); got != "" {
		t.Errorf("the zero signer prints as %q, want nothing", got)
	}
}

func TestKeyOutOfFormIsRefused(t *testing.T) {
	t.Parallel()
	private, public, err := ledger.GenerateKey(rand.Reader, keyName)
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"", "x", public, private[:len(private)-4], strings.Replace(private, keyName, "other", 1)} {
		if _, err := ledger.NewSigner(text); !errors.Is(err, ledger.ErrMalformed) {
			t.Errorf("private key %q: error %v, want ErrMalformed", text, err)
		}
	}
	for _, text := range []string{"", "x", private, public[:len(public)-4], strings.Replace(public, keyName, "other", 1)} {
		if _, err := ledger.NewVerifiers(text); !errors.Is(err, ledger.ErrMalformed) {
			t.Errorf("public key %q: error %v, want ErrMalformed", text, err)
		}
	}
	for _, name := range []string{"", "two words", "a+b", "a\nb", "\xff"} {
		if _, _, err := ledger.GenerateKey(rand.Reader, name); !errors.Is(err, ledger.ErrMalformed) {
			t.Errorf("name %q: error %v, want ErrMalformed", name, err)
		}
	}
	if _, _, err := ledger.GenerateKey(strings.NewReader("short"), keyName); err == nil {
		t.Error("a key was made of five bytes")
	}
}
