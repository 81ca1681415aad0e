package ledger_test

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"rideout/service/ledger"
)

// An organisation records six changes. After the fourth its auditor takes the signed checkpoint home. Later somebody who
// can write to the database makes the third change look as if another key had made it, fits every stored hash to it, and
// has the log signed anew. The checkpoint kept tells that something among the first four was changed; with the hashes
// kept beside it, it tells which.
func Example() {
	private, public, _ := ledger.GenerateKey(strings.NewReader("32 bytes of chance, in earnest!!"), "rideout.example")
	signer, _ := ledger.NewSigner(private)
	known, _ := ledger.NewVerifiers(public)

	var entries []ledger.Entry
	for n := range 6 {
		entries = append(entries, ledger.Entry{
			OrgID: uuid.MustParse("019aa3c1-5f00-7000-8000-000000000001"), Seq: int64(n + 1), Kind: "plan",
			RecordedAt: time.Date(2026, time.November, 14, 7, n, 0, 0, time.UTC),
			EntityID:   uuid.MustParse("019aa3c1-5f00-7000-8000-0000000000aa"), Version: n + 1,
			BodySHA256: "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08", By: "ro_k3m9x2pq",
		})
	}
	kept, hashes := recordedAndSigned(entries[:4], signer)
	text, _, _ := strings.Cut(string(kept), "\n\n")
	fmt.Println(text)

	entries[2].By = "ro_77777777"
	current, fitted := recordedAndSigned(entries, signer)

	for _, read := range [][]ledger.Hash{fitted, hashes} {
		report, err := ledger.Verify(ledger.Log{
			OrgID: entries[0].OrgID, Records: records(entries), Hashes: each(read),
			Checkpoints: []ledger.Checkpoint{opened(known, kept), opened(known, current)},
		})
		fmt.Println(report.Findings, err)
	}
	// Output:
	// rideout/019aa3c1-5f00-7000-8000-000000000001
	// 4
	// 1SACCdvL7gh0JiLgvELqTvVPBqXBKRUIK+29GLVCamU=
	// [entries 1 to 4: something among them is not as signed] <nil>
	// [entry 3: not as signed] <nil>
}

// recordedAndSigned gives the signed checkpoint of a log and its stored hashes.
func recordedAndSigned(entries []ledger.Entry, signer ledger.Signer) ([]byte, []ledger.Hash) {
	s := &store{}
	for _, e := range entries {
		stored, _ := ledger.Append(e, s)
		for _, h := range stored {
			s.hashes = append(s.hashes, h.Hash)
		}
	}
	size := int64(len(entries))
	root, _ := ledger.Root(size, s)
	signed, _ := signer.Sign(ledger.Checkpoint{OrgID: entries[0].OrgID, Size: size, Root: root})
	return signed, slices.Clone(s.hashes)
}

func opened(known ledger.Verifiers, signed []byte) ledger.Checkpoint {
	c, _ := known.Open(signed)
	return c
}
