package ledger

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
)

// Salt keeps a commitment from being undone by trying likely texts. It is 32 bytes of chance, one for each text,
// stands with the text, and is erased with it.
type Salt [32]byte

// Commit gives the commitment to a text, which a body holds in its place: HMAC-SHA-256 of the text under the salt, in hex.
func Commit(text string, salt Salt) string {
	mac := hmac.New(sha256.New, salt[:])
	mac.Write([]byte(text))
	return hex.EncodeToString(mac.Sum(nil))
}

// Text is a personal text that has not been erased, and the commitment it answers to.
type Text struct {
	Commitment string
	Salt       Salt
	Text       string
}

// check tells whether the body commits to the text.
func (t Text) check(body []byte) error {
	if Commit(t.Text, t.Salt) != t.Commitment {
		return errors.New("a text is not the one committed to")
	}
	if !bytes.Contains(body, []byte(`"`+t.Commitment+`"`)) {
		return errors.New("a text answers to a commitment the body does not hold")
	}
	return nil
}
