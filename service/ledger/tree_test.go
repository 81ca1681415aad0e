package ledger_test

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"os"
	"slices"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"rideout/service/ledger"
)

// What follows is RFC 6962, 2.1 to 2.1.2, written down as it stands there, on crypto/sha256 alone. Lists of leaves are
// given by their hashes.

func leafHash(data []byte) ledger.Hash { return sha256.Sum256(slices.Concat([]byte{0}, data)) }

func nodeHash(left, right ledger.Hash) ledger.Hash {
	return sha256.Sum256(slices.Concat([]byte{1}, left[:], right[:]))
}

func split(n int) int {
	k := 1
	for 2*k < n {
		k *= 2
	}
	return k
}

func treeHead(leaves []ledger.Hash) ledger.Hash {
	switch n := len(leaves); n {
	case 0:
		return sha256.Sum256(nil)
	case 1:
		return leaves[0]
	default:
		return nodeHash(treeHead(leaves[:split(n)]), treeHead(leaves[split(n):]))
	}
}

func auditPath(m int, leaves []ledger.Hash) ledger.Proof {
	n := len(leaves)
	if n == 1 {
		return ledger.Proof{}
	}
	if k := split(n); m < k {
		return append(auditPath(m, leaves[:k]), treeHead(leaves[k:]))
	}
	k := split(n)
	return append(auditPath(m-k, leaves[k:]), treeHead(leaves[:k]))
}

func subproof(m int, leaves []ledger.Hash, known bool) ledger.Proof {
	n := len(leaves)
	if m == n {
		if known {
			return ledger.Proof{}
		}
		return ledger.Proof{treeHead(leaves)}
	}
	if k := split(n); m <= k {
		return append(subproof(m, leaves[:k], known), treeHead(leaves[k:]))
	}
	k := split(n)
	return append(subproof(m-k, leaves[k:], false), treeHead(leaves[:k]))
}

// vectors is testdata/rfc6962.json.
type vectors struct {
	Leaves    []string
	Nodes     [][]string
	Roots     []string
	Inclusion []struct {
		Seq, Size int64
		Proof     []string
	}
	Consistency []struct {
		From, To int64
		Proof    []string
	}
}

func published(t *testing.T) vectors {
	t.Helper()
	text, err := os.ReadFile("testdata/rfc6962.json")
	if err != nil {
		t.Fatal(err)
	}
	var v vectors
	if err := json.Unmarshal(text, &v); err != nil {
		t.Fatal(err)
	}
	if len(v.Leaves) != 8 || len(v.Roots) != 9 || len(v.Inclusion) != 7 || len(v.Consistency) != 4 {
		t.Fatalf("the vectors are not all there: %+v", v)
	}
	return v
}

func unhex(t *testing.T, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(text)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func proofOf(t *testing.T, texts []string) ledger.Proof {
	t.Helper()
	p := ledger.Proof{}
	for _, text := range texts {
		p = append(p, ledger.Hash(unhex(t, text)))
	}
	return p
}

// TestTreeIsThatOfRFC6962 holds hashes, roots and proofs against the published vectors, and the vectors against the RFC's text.
func TestTreeIsThatOfRFC6962(t *testing.T) {
	t.Parallel()
	v := published(t)
	s := &store{}
	var leaves []ledger.Hash
	for n, text := range v.Leaves {
		data := unhex(t, text)
		leaves = append(leaves, leafHash(data))
		stored, err := tlog.StoredHashes(int64(n), data, s)
		if err != nil {
			t.Fatal(err)
		}
		s.hashes = append(s.hashes, stored...)
	}
	for level, nodes := range v.Nodes {
		for n, text := range nodes {
			if got, want := s.hashes[tlog.StoredHashIndex(level, int64(n))], ledger.Hash(unhex(t, text)); got != want {
				t.Errorf("node %d of level %d: %x, want %x", n, level, got, want)
			}
		}
	}
	for size, text := range v.Roots {
		want := ledger.Hash(unhex(t, text))
		if got := treeHead(leaves[:size]); got != want {
			t.Errorf("root of %d by the RFC's text: %x, want %x", size, got, want)
		}
		if got := s.at(t, int64(size)).Root; got != want {
			t.Errorf("root of %d: %x, want %x", size, got, want)
		}
	}
	for _, c := range v.Inclusion {
		want := proofOf(t, c.Proof)
		got, err := ledger.ProveInclusion(c.Seq, c.Size, s)
		if err != nil || !slices.Equal(got, want) {
			t.Errorf("inclusion of %d in %d: %x, %v; want %x", c.Seq, c.Size, got, err, want)
		}
	}
	for _, c := range v.Consistency {
		want := proofOf(t, c.Proof)
		got, err := ledger.ProveConsistency(c.From, c.To, s)
		if err != nil || !slices.Equal(got, want) {
			t.Errorf("consistency of %d with %d: %x, %v; want %x", c.From, c.To, got, err, want)
		}
		if err := ledger.CheckConsistency(s.at(t, c.From), s.at(t, c.To), want); err != nil {
			t.Errorf("consistency of %d with %d: %v", c.From, c.To, err)
		}
	}
}

const sizes = 64

// TestProofsOfEverySize holds root and proofs of all pairs against the RFC's text, and every check against all wrong pairs.
func TestProofsOfEverySize(t *testing.T) {
	t.Parallel()
	s := grown(t, sizes)
	var leaves []ledger.Hash
	for _, e := range s.entries {
		leaves = append(leaves, leafHash(e.Leaf()))
	}
	for size := int64(1); size <= sizes; size++ {
		c := s.at(t, size)
		if want := treeHead(leaves[:size]); c.Root != want {
			t.Fatalf("root of %d: %s, want %s", size, c.Root, want)
		}
		for seq := int64(1); seq <= size; seq++ {
			p, err := ledger.ProveInclusion(seq, size, s)
			if want := auditPath(int(seq-1), leaves[:size]); err != nil || !slices.Equal(p, want) {
				t.Fatalf("inclusion of %d in %d: %v, %v; want %v", seq, size, p, err, want)
			}
			if err := ledger.CheckInclusion(s.entries[seq-1], p, c); err != nil {
				t.Fatalf("inclusion of %d in %d: %v", seq, size, err)
			}
			p, err = ledger.ProveConsistency(seq, size, s)
			if want := subproof(int(seq), leaves[:size], true); err != nil || !slices.Equal(p, want) {
				t.Fatalf("consistency of %d with %d: %v, %v; want %v", seq, size, p, err, want)
			}
			if err := ledger.CheckConsistency(s.at(t, seq), c, p); err != nil {
				t.Fatalf("consistency of %d with %d: %v", seq, size, err)
			}
		}
	}
}

// TestProofOfAnythingElseFails alters each hash, drops and adds one, and gives each proof for everything it is not of.
func TestProofOfAnythingElseFails(t *testing.T) {
	t.Parallel()
	s := grown(t, 21)
	for size := int64(1); size <= 21; size++ {
		c := s.at(t, size)
		for seq := int64(1); seq <= size; seq++ {
			entry, early := s.entries[seq-1], s.at(t, seq)
			in, err1 := ledger.ProveInclusion(seq, size, s)
			con, err2 := ledger.ProveConsistency(seq, size, s)
			if err := errors.Join(err1, err2); err != nil {
				t.Fatal(err)
			}
			for _, p := range altered(in) {
				if err := ledger.CheckInclusion(entry, p, c); !errors.Is(err, ledger.ErrUnproven) {
					t.Fatalf("an altered proof of %d in %d: error %v, want ErrUnproven", seq, size, err)
				}
			}
			for _, p := range altered(con) {
				if err := ledger.CheckConsistency(early, c, p); !errors.Is(err, ledger.ErrUnproven) {
					t.Fatalf("an altered proof of %d before %d: error %v, want ErrUnproven", seq, size, err)
				}
			}
			for other := int64(1); other <= size; other++ {
				if err := ledger.CheckInclusion(s.entries[other-1], in, c); (err == nil) != (other == seq) {
					t.Fatalf("the proof of %d in %d given for %d: error %v", seq, size, other, err)
				}
				if err := ledger.CheckConsistency(s.at(t, other), c, con); (err == nil) != (other == seq) {
					t.Fatalf("the proof of %d before %d given for %d: error %v", seq, size, other, err)
				}
			}
		}
	}
}

func altered(p ledger.Proof) []ledger.Proof {
	list := []ledger.Proof{append(slices.Clone(p), ledger.Hash{})}
	for i := range p {
		flipped := slices.Clone(p)
		flipped[i][i%32] ^= 1
		list = append(list, flipped, slices.Delete(slices.Clone(p), i, i+1))
	}
	return list
}

func TestEmptyLog(t *testing.T) {
	t.Parallel()
	s := grown(t, 5)
	empty, whole := s.at(t, 0), s.at(t, 5)
	p, err := ledger.ProveConsistency(0, 5, s)
	if err != nil || p == nil || len(p) != 0 {
		t.Errorf("the proof that a log begins with nothing is %v, %v", p, err)
	}
	for name, c := range map[string]struct {
		from, to ledger.Checkpoint
		proof    ledger.Proof
		want     error
	}{
		"nothing before nothing":    {empty, empty, ledger.Proof{}, nil},
		"nothing before five":       {empty, whole, nil, nil},
		"with a proof":              {empty, whole, ledger.Proof{whole.Root}, ledger.ErrUnproven},
		"another root of nothing":   {ledger.Checkpoint{OrgID: org}, whole, nil, ledger.ErrMalformed},
		"five before nothing":       {whole, empty, nil, ledger.ErrRange},
		"five before five":          {whole, whole, nil, nil},
		"five before other five":    {whole, ledger.Checkpoint{OrgID: org, Size: 5, Root: empty.Root}, nil, ledger.ErrUnproven},
		"of another organisation's": {empty, ledger.Checkpoint{Size: 5, Root: whole.Root}, nil, ledger.ErrRange},
	} {
		if err := ledger.CheckConsistency(c.from, c.to, c.proof); !errors.Is(err, c.want) {
			t.Errorf("%s: error %v, want %v", name, err, c.want)
		}
	}
}

func TestWhatTheTreeHasNotIsRefused(t *testing.T) {
	t.Parallel()
	s := grown(t, 4)
	const huge = 1<<62 + 1 // where the index arithmetic of the tree would not end
	for name, call := range map[string]func() error{
		"root of -1":           func() error { _, err := ledger.Root(-1, s); return err },
		"root of too many":     func() error { _, err := ledger.Root(huge, s); return err },
		"entry 0":              func() error { _, err := ledger.ProveInclusion(0, 4, s); return err },
		"entry 5 of 4":         func() error { _, err := ledger.ProveInclusion(5, 4, s); return err },
		"entry of too many":    func() error { _, err := ledger.ProveInclusion(1, huge, s); return err },
		"5 before 4":           func() error { _, err := ledger.ProveConsistency(5, 4, s); return err },
		"-1 before 4":          func() error { _, err := ledger.ProveConsistency(-1, 4, s); return err },
		"before too many":      func() error { _, err := ledger.ProveConsistency(1, huge, s); return err },
		"entry after the last": func() error { return ledger.CheckInclusion(change(5), nil, s.at(t, 4)) },
		"another's entry": func() error {
			e := change(1)
			e.OrgID[0] ^= 1
			return ledger.CheckInclusion(e, nil, s.at(t, 1))
		},
	} {
		if err := call(); !errors.Is(err, ledger.ErrRange) {
			t.Errorf("%s: error %v, want ErrRange", name, err)
		}
	}
	large := ledger.Checkpoint{OrgID: org, Size: huge}
	if err := ledger.CheckInclusion(change(1), nil, large); !errors.Is(err, ledger.ErrMalformed) {
		t.Errorf("inclusion in too many: error %v, want ErrMalformed", err)
	}
	if err := ledger.CheckConsistency(s.at(t, 1), large, nil); !errors.Is(err, ledger.ErrMalformed) {
		t.Errorf("consistency with too many: error %v, want ErrMalformed", err)
	}
}

// TestErrorOfTheStorePasses holds that what the reader says is told, and a reader that gives too few hashes is found out.
func TestErrorOfTheStorePasses(t *testing.T) {
	t.Parallel()
	broken := errors.New("broken")
	fails := ledger.HashReaderFunc(func([]int64) ([]ledger.Hash, error) { return nil, broken })
	short := ledger.HashReaderFunc(func([]int64) ([]ledger.Hash, error) { return nil, nil })
	for name, call := range map[string]func(ledger.HashReader) error{
		"append":      func(r ledger.HashReader) error { _, err := ledger.Append(change(2), r); return err },
		"root":        func(r ledger.HashReader) error { _, err := ledger.Root(4, r); return err },
		"inclusion":   func(r ledger.HashReader) error { _, err := ledger.ProveInclusion(1, 4, r); return err },
		"consistency": func(r ledger.HashReader) error { _, err := ledger.ProveConsistency(1, 4, r); return err },
	} {
		if err := call(fails); !errors.Is(err, broken) {
			t.Errorf("%s: error %v, want the reader's", name, err)
		}
		if err := call(short); err == nil {
			t.Errorf("%s takes too few hashes", name)
		}
	}
}

func TestHashCountIsWhatIsStored(t *testing.T) {
	t.Parallel()
	s := &store{}
	for n := int64(0); n <= 100; n++ {
		if got := ledger.HashCount(n); got != int64(len(s.hashes)) {
			t.Errorf("HashCount(%d) = %d, want %d", n, got, len(s.hashes))
		}
		s.record(t, change(n+1))
	}
}
