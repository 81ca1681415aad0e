// Package ledger is the tamper-evident log of an organisation: one entry for each change, in the order of commit,
// under a Merkle tree (RFC 6962) whose root is signed. It encodes, proves and verifies; it reads no clock, file or
// database, and draws no random numbers of its own.
//
// What follows is all that is needed to write another verifier. SHA-256 is the only hash, base64 is the standard
// one with padding, and every line ends in a newline (U+000A).
//
// # Entry
//
// A change is nine lines in this order, UTF-8, one space after the name:
//
//	rideout entry 1
//	org 019aa3c1-5f00-7000-8000-000000000001
//	seq 17
//	at 2026-11-14T07:08:09.123456Z
//	kind plan
//	entity 019aa3c1-5f00-7000-8000-0000000000aa
//	version 3
//	body_sha256 9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08
//	by ro_k3m9x2pq
//
// Numbers are decimal without sign or leading zeros; seq runs from 1 without gaps, version from 1. The time is UTC with
// six digits of a second and never runs backward. Names and hashes are in lower case. body_sha256 is the hash of the body
// as it was recorded, which is as it was answered but for personal text. by is the name of the key that asked, at most 100 characters, none of them a control character; it may
// be empty, and the space before it stays. A text that is not exactly of this form is no entry. An export's entries stand
// one after another in a file, an empty line after each.
//
// # Tree
//
// The leaf of an entry is hash(0x00, its nine lines), and the hash above two others is hash(0x01, left, right). The root of
// n > 1 leaves stands above that of the first k and that of the rest, where k is the greatest power of two below n; the root
// of one leaf is the leaf, of none the hash of nothing. Of every complete subtree of 1, 2, 4, ... entries the
// store keeps the hash. An export's file of hashes has them in base64, one a line: for entry n its leaf, and after it, from the
// smallest, those of the subtrees that end in n, one for each time that 2 divides n. A line is empty where a hash
// is not there. Proofs are the lists of RFC 6962, 2.1.1 and 2.1.2, which numbers leaves from 0 where entries count from 1.
//
// # Checkpoint
//
// A checkpoint is a signed note (C2SP signed-note, tlog-checkpoint) whose text is three lines: rideout/ and the
// organisation, the number of entries, the root in base64. After an empty line follow the signatures: an em dash, a
// space, the key's name, a space, and base64 of the key's four-byte number and the Ed25519 signature of the three lines. The
// number begins hash(name, newline, 0x01, public key). The key is the service's, not the organisation's, so its name is
// not the first line. A public key is written name+number+key: the number in hex, the key in base64 behind a byte 0x01.
//
// # Personal text
//
// A body holds no personal text. It holds a commitment, HMAC-SHA-256 of the text under a salt of 32 random bytes,
// in hex. Text and salt stand in a table of their own. When they are erased nobody can tell what the text was, not
// even by trying likely ones, while body, entry and tree stay as they were and still verify. An export leaves them out.
//
// # Audit
//
// An audit is a run of entries, each a line of a file with its leaf and body: in NDJSON an object with seq, recorded_at, kind, entity_id,
// version, by, body_sha256, leaf (base64) and body, or body_text where the body holds a line break or has space around it; in CSV the same in that order under a
// line of these names, the body as a JSON string where it is empty or holds a carriage return. Its manifest is JSON: the SHA-256 of the file, the signed checkpoint, before, which has the hashes of the complete subtrees
// of the entries before first_seq, from the left, and a consistency proof from last_seq to the checkpoint. The entries are added to the tree of
// before; the root that comes of it must be the one the proof starts from.
//
// # What Verify can tell
//
// A checkpoint binds every byte of every entry up to its size. One kept outside finds whatever was changed since,
// even by somebody who can rewrite the whole store and have it signed anew. Which entry it was can be told as
// far as stored hashes still lead up to a checkpoint's root; Verify describes it. Without any checkpoint a log proves nothing.
package ledger

import (
	"errors"

	"golang.org/x/mod/sumdb/tlog"
)

// What can be wrong with a text or a proof.
var (
	// ErrMalformed says that a text is not exactly of its form.
	ErrMalformed = errors.New("malformed")
	// ErrUnsigned says that no known key signed, or that the signature of a known one is wrong.
	ErrUnsigned = errors.New("not signed by a known key")
	// ErrRange says that an entry or a size is not one the tree has.
	ErrRange = errors.New("out of range")
	// ErrUnproven says that a proof does not prove what it is given for.
	ErrUnproven = errors.New("not proven")
)

// Hash is a hash of the tree. Text and JSON are base64. The zero value stands for one that is not there.
type Hash = tlog.Hash

// maxSeq bounds sizes from outside: far above any log, far below where the tree's index arithmetic overflows.
const maxSeq = 1 << 48
