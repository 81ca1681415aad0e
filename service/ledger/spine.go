package ledger

import (
	"math/bits"
	"slices"

	"golang.org/x/mod/sumdb/tlog"
)

// span is a run of entries. In an exact one each is meant, in another at least one.
type span struct {
	first, last int64
	exact       bool
}

func (s span) kind() Kind {
	if s.exact {
		return KindChanged
	}
	return KindWithin
}

func (s span) message() string {
	if s.exact {
		return "not as signed"
	}
	return "something among them is not as signed"
}

// maxSpans bounds what a node remembers. What is more is put together, which says less and still nothing false.
const maxSpans = 100

func addSpan(list []span, s span) []span {
	if n := len(list); n > 0 {
		last := &list[n-1]
		switch {
		case last.exact && s.exact && last.last+1 == s.first:
			last.last = s.last
			return list
		case n == maxSpans:
			*last = span{last.first, s.last, false}
			return list
		}
	}
	return append(list, s)
}

func joinSpans(a, b []span) []span {
	if len(a) == 0 {
		return slices.Clone(b)
	}
	list := slices.Clone(a)
	for _, s := range b {
		list = addSpan(list, s)
	}
	return list
}

// node is a subtree of the entries first to last: the hash computed from the entries as they are, and the hash that
// was stored when they were recorded.
type node struct {
	first, last int64
	computed    Hash
	stored      Hash   // zero: not given
	bad         []span // what is not as signed, if stored is what was signed
	unlike      []span // where computed and stored first differ, from the leaves up
}

func (n node) alike() bool { return n.stored == (Hash{}) || n.stored == n.computed }

func leafNode(seq int64, computed, stored Hash) node {
	n := node{first: seq, last: seq, computed: computed, stored: stored}
	if !n.alike() {
		n.bad = []span{{seq, seq, true}}
		n.unlike = n.bad
	}
	return n
}

// join puts a node above two others. Where its stored hash is not given, it is what theirs give.
func join(l, r node, stored Hash) node {
	n := node{first: l.first, last: r.last, computed: tlog.NodeHash(l.computed, r.computed), stored: stored}
	given := stored != (Hash{})
	if !given && l.stored != (Hash{}) && r.stored != (Hash{}) {
		n.stored = tlog.NodeHash(l.stored, r.stored)
	}
	n.unlike = joinSpans(l.unlike, r.unlike)
	if given && !n.alike() && l.alike() && r.alike() {
		n.unlike = addSpan(n.unlike, span{n.first, n.last, false})
	}
	if !n.alike() {
		n.bad = blame(n, l, r)
	}
	return n
}

// blame tells what is not as signed below a node whose stored hash is what was signed. A pair of hashes that leads up to it
// was signed too, and of a pair of which one is computed from entries, those entries are right.
func blame(n, l, r node) []span {
	switch n.stored {
	case tlog.NodeHash(l.stored, r.stored):
		return joinSpans(l.bad, r.bad)
	case tlog.NodeHash(l.computed, r.stored):
		return slices.Clone(r.bad)
	case tlog.NodeHash(l.stored, r.computed):
		return slices.Clone(l.bad)
	}
	return []span{{n.first, n.last, false}}
}

// spine is the complete subtrees that entries read so far make, from the left: at most one of each size. It is all of the tree
// that is kept in memory.
type spine []node

// hashesWith gives how many hashes are stored with an entry.
func hashesWith(seq int64) int { return 1 + bits.TrailingZeros64(uint64(seq)) }

// push adds an entry, with the hashes stored with it.
func (s *spine) push(seq int64, computed Hash, stored []Hash) {
	n := leafNode(seq, computed, stored[0])
	for _, h := range stored[1:] {
		left := (*s)[len(*s)-1]
		*s = (*s)[:len(*s)-1]
		n = join(left, n, h)
	}
	*s = append(*s, n)
}

// root puts the subtrees together, as the tree of all entries so far has them.
func (s spine) root() node {
	if len(s) == 0 {
		return node{computed: emptyRoot(), stored: emptyRoot()}
	}
	n := s[len(s)-1]
	for i := len(s) - 2; i >= 0; i-- {
		n = join(s[i], n, Hash{})
	}
	return n
}

// explained forgets where stored hashes differ: it has been said why.
func (s spine) explained() {
	for i := range s {
		s[i].unlike = nil
	}
}
