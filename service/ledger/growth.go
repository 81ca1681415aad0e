package ledger

import (
	"fmt"
	"math/bits"
	"slices"

	"golang.org/x/mod/sumdb/tlog"
)

// Growth is a tree that grows entry by entry from somewhere on. It keeps the hashes of its complete subtrees from the
// left, at most one of each size. The zero value is the empty tree.
type Growth struct {
	size  int64
	spine []Hash
}

// Before reads what a tree of so many entries needs to grow on: the hashes of its complete subtrees, from the left.
func Before(size int64, r HashReader) ([]Hash, error) {
	if size < 0 || size > maxSeq {
		return nil, fmt.Errorf("%w: a tree of %d entries", ErrRange, size)
	}
	var indexes []int64
	for first := int64(0); first < size; {
		level := bits.Len64(uint64(size-first)) - 1
		indexes = append(indexes, tlog.StoredHashIndex(level, first>>level))
		first += 1 << level
	}
	if indexes == nil {
		return []Hash{}, nil
	}
	hashes, err := r.ReadHashes(indexes)
	if err != nil {
		return nil, fmt.Errorf("subtrees of %d entries: %w", size, err)
	}
	return hashes, nil
}

// GrowFrom goes on from a tree of so many entries, by the hashes that Before gives.
func GrowFrom(size int64, before []Hash) (*Growth, error) {
	if size < 0 || size > maxSeq || len(before) != bits.OnesCount64(uint64(size)) {
		return nil, fmt.Errorf("%w: %d subtrees of %d entries", ErrMalformed, len(before), size)
	}
	return &Growth{size, slices.Clone(before)}, nil
}

// Add adds the leaf of the next entry.
func (g *Growth) Add(leaf Hash) {
	for n := g.size; n&1 == 1; n >>= 1 {
		last := len(g.spine) - 1
		leaf = tlog.NodeHash(g.spine[last], leaf)
		g.spine = g.spine[:last]
	}
	g.spine = append(g.spine, leaf)
	g.size++
}

// Size is the number of entries.
func (g *Growth) Size() int64 { return g.size }

// Root is the root of the tree.
func (g *Growth) Root() Hash {
	if len(g.spine) == 0 {
		return emptyRoot()
	}
	root := g.spine[len(g.spine)-1]
	for _, h := range slices.Backward(g.spine[:len(g.spine)-1]) {
		root = tlog.NodeHash(h, root)
	}
	return root
}
