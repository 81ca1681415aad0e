package ledger

import (
	"errors"
	"fmt"
	"iter"

	"github.com/google/uuid"
)

// Record is an entry and what belongs to it.
type Record struct {
	Entry
	Body  []byte // as recorded; nil: not given, and not checked
	Texts []Text // personal texts the body commits to; those erased are left out
}

// Log is what is to be verified.
type Log struct {
	OrgID uuid.UUID
	// Records are all there are, in order; it must be set. An ErrMalformed among them is a finding; any other error ends the
	// verification. A record is not kept when the next is asked for, so its memory may be used again.
	Records iter.Seq2[Record, error]
	// Hashes are the stored hashes in the order of their indexes; nil: none. They need not be trusted nor reach the log's
	// end. Those of an earlier export, kept with its checkpoint, tell most.
	Hashes iter.Seq2[Hash, error]
	// Checkpoints are the log's own and those kept outside, each opened with the public key, in any order.
	Checkpoints []Checkpoint
}

// Verify holds a log against its checkpoints. It reads everything once, in memory that does not grow with the log.
//
// With a checkpoint alone it names the entries since the last smaller checkpoint that agrees: something among them is not as
// signed. Stored hashes narrow that. Hashes that lead up to a checkpoint's root are those that were signed, so
//   - an entry that was changed while its stored hash was left is named, and so is each of several;
//   - where the hashes up to some subtree were made to fit it, the subtree above is named;
//   - where all were made to fit, up to the root, only the checkpoint is left to tell. Against that, keep the hashes of an
//     earlier export beside its checkpoint: then the entry is named whatever was done to the store.
//
// An entry that is missing, stands elsewhere, or cannot be read is named from the numbers, and as long as its hash is
// there the rest is verified all the same; a tail cut off with its hashes is found by a checkpoint that reaches
// further. A dropped or added entry whose followers were given new numbers shows as a change of all from there on. What
// belongs to no checkpoint yet is a finding, because nothing is known of it.
//
// Not found: what was recorded wrongly to begin with; that the versions of one thing are not counted from 1, which would
// take memory; and entries rewritten before any checkpoint left the house.
func Verify(log Log) (Report, error) {
	v, err := newVerifier(log)
	if err != nil {
		return Report{}, err
	}
	defer v.stop()
	var held, now item // one is held back, to see what follows it
	holding := false
	for record, err := range log.Records {
		if err != nil && !errors.Is(err, ErrMalformed) {
			return Report{}, fmt.Errorf("verify: %w", err)
		}
		if now = itemOf(record, err); holding {
			v.take(held, &now)
		}
		if v.failed != nil {
			return Report{}, v.failed
		}
		held, holding = now, true
	}
	if holding {
		v.take(held, nil)
	}
	return v.finish()
}
