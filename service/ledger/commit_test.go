package ledger_test

import (
	"strings"
	"testing"

	"rideout/service/ledger"
)

// TestCommitIsThatOfRFC4231 uses the test cases of RFC 4231, 4.2 to 4.5, from memory. Their keys are shorter than a salt; a
// key is padded with zeros (RFC 2104, 2), so a salt that ends in zeros is the same key.
func TestCommitIsThatOfRFC4231(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, key, text, want string }{
		{
			"case 1", strings.Repeat("\x0b", 20), "Hi There",
			"b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7",
		},
		{
			"case 2", "Jefe", "what do ya want for nothing?",
			"5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
		},
		{
			"case 3", strings.Repeat("\xaa", 20), strings.Repeat("\xdd", 50),
			"773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe",
		},
		{
			"case 4", "\x01\x02\x03\x04\x05\x06\x07\x08\x09\x0a\x0b\x0c\x0d\x0e\x0f\x10\x11\x12\x13\x14\x15\x16\x17\x18\x19",
			strings.Repeat("\xcd", 50),
			"82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b",
		},
	} {
		var salt ledger.Salt
		copy(salt[:], c.key)
		if got := ledger.Commit(c.text, salt); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}
