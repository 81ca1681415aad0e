package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"iter"
	"os"
	"strings"

	"github.com/google/uuid"

	"rideout/service/ledger"
)

const verifyWords = `
Of an export, give its manifest; the files it names lie beside it. Of a log, give a file of entries; without either, the log of the
service at --server is read, with the key in RIDEOUT_KEY or --key-file. Without a checkpoint kept outside nothing tells of a log that was rewritten as a whole and signed anew.

exit code: 0 all is as it was signed; 1 something is not, and the first line names it; 2 nothing was verified, because of
what was typed, a file or the server.`

// verification is what was typed.
type verification struct {
	calling
	manifest, entries, hashes, save string

	keys, checkpoints []string
	asJSON            bool
	known             ledger.Verifiers
	kept              []ledger.Checkpoint
}

// verify holds a log or an export against what was signed. It asks no database.
func verify(ctx context.Context, p program, args []string) error {
	v := verification{}
	flags := newFlags("verify")
	v.serviceFlags(p, flags)
	many := func(list *[]string) func(string) error {
		return func(text string) error { *list = append(*list, text); return nil }
	}
	flags.Func("key", "the public `key` that checkpoints are signed with, or a file of it; may be given several times", many(&v.keys))
	flags.Func("checkpoint", "`file` of a signed checkpoint that was kept outside; may be given several times", many(&v.checkpoints))
	flags.StringVar(&v.manifest, "manifest", "", "`file` of an export's manifest")
	flags.StringVar(&v.entries, "entries", "", "`file` of all entries of a log")
	flags.StringVar(&v.hashes, "hashes", "", "`file` of its hashes, best those kept with an earlier checkpoint")
	flags.StringVar(&v.save, "save", "", "`directory` to keep what the service answered in")
	flags.BoolVar(&v.asJSON, "json", false, "print one JSON object")
	if err := parse(p, flags, args); err != nil {
		if errors.Is(err, errHelpShown) {
			fmt.Fprintln(p.stdout, verifyWords)
		}
		return err
	}
	report, err := v.run(ctx, p, flags)
	if err != nil {
		return nothingVerified(ctx, err)
	}
	if err := tellReport(p.stdout, report, v.asJSON); err != nil {
		return err
	}
	if !report.Sound() {
		return errors.New("not all is as it was signed")
	}
	return nil
}

// nothingVerified makes an error end with code 2: 1 says that something was found.
func nothingVerified(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		err = errors.New("interrupted")
	}
	return usageError{"verify: " + strings.TrimSpace(inWords(err))}
}

func (v *verification) run(ctx context.Context, p program, flags *flag.FlagSet) (ledger.Report, error) {
	given := 0
	flags.Visit(func(f *flag.Flag) {
		switch f.Name {
		case "manifest", "entries", "server":
			given++
		}
	})
	switch {
	case given > 1:
		return ledger.Report{}, errors.New("give one of --manifest, --entries and --server; rideout verify -h lists the flags")
	case v.hashes != "" && v.entries == "":
		return ledger.Report{}, errors.New("--hashes goes with --entries: without it the hashes would be passed over")
	case v.save != "" && (v.manifest != "" || v.entries != ""):
		return ledger.Report{}, errors.New("--save keeps what a service answers: leave it out, or --manifest and --entries")
	}
	switch {
	case v.manifest != "":
		if err := v.readKept(); err != nil {
			return ledger.Report{}, err
		}
		return v.ofExport()
	case v.entries != "":
		if err := v.readKept(); err != nil {
			return ledger.Report{}, err
		}
		return v.ofFiles()
	}
	r, err := v.open(p)
	if err != nil {
		return ledger.Report{}, err
	}
	return v.ofServer(ctx, &logServer{remote: r})
}

// readKept reads the keys and the checkpoints that were kept.
func (v *verification) readKept() (err error) {
	if len(v.keys) == 0 {
		return errors.New("give the public key by --key; rideout log-key and GET /v1/log/key tell it")
	}
	for i, key := range v.keys {
		if text, err := os.ReadFile(key); err == nil {
			v.keys[i] = strings.TrimSpace(string(text))
		}
	}
	if v.known, err = ledger.NewVerifiers(v.keys...); err != nil {
		return err
	}
	for _, file := range v.checkpoints {
		text, err := os.ReadFile(file)
		if err != nil {
			return err
		}
		c, err := v.known.Open(text)
		if err != nil {
			return fmt.Errorf("%s: %w", file, err)
		}
		v.kept = append(v.kept, c)
	}
	return nil
}

func (v *verification) ofFiles() (ledger.Report, error) {
	if len(v.kept) == 0 {
		return ledger.Report{}, errors.New("give at least one --checkpoint: without one entries prove nothing")
	}
	entries, err := os.Open(v.entries)
	if err != nil {
		return ledger.Report{}, err
	}
	defer entries.Close()
	log := ledger.Log{OrgID: v.kept[0].OrgID, Records: ledger.Entries(entries), Checkpoints: v.kept}
	if v.hashes != "" {
		hashes, err := os.Open(v.hashes)
		if err != nil {
			return ledger.Report{}, err
		}
		defer hashes.Close()
		log.Hashes = ledger.Hashes(hashes)
	}
	return ledger.Verify(log)
}

// ofServer reads a log up to the checkpoint the server signs now.
func (v *verification) ofServer(ctx context.Context, from *logServer) (report ledger.Report, err error) {
	if len(v.keys) == 0 {
		fmt.Fprintln(from.stderr, "note: no --key is given, so the server's own is believed")
		key, err := from.publicKey(ctx)
		if err != nil {
			return report, err
		}
		v.keys = []string{key}
	}
	if err := errors.Join(v.readKept(), from.saveIn(v.save)); err != nil {
		return report, err
	}
	defer func() { err = errors.Join(err, from.close()) }()
	signed, err := from.checkpoint(ctx)
	if err != nil {
		return report, err
	}
	now, err := v.known.Open(signed)
	if err != nil {
		return report, fmt.Errorf("the server's checkpoint: %w", err)
	}
	if err := from.keep("checkpoint.txt", signed); err != nil {
		return report, err
	}
	entries, err := from.entries(ctx, now.Size)
	if err != nil {
		return report, err
	}
	hashes, err := from.hashes(ctx, now.Size)
	if err != nil {
		return report, err
	}
	return ledger.Verify(ledger.Log{
		OrgID: now.OrgID, Checkpoints: append(v.kept, now),
		Records: from.counted(now.Size, ledger.Entries(entries)), Hashes: ledger.Hashes(hashes),
	})
}

// counted tells how far the reading is.
func (s *logServer) counted(size int64, records iter.Seq2[ledger.Record, error]) iter.Seq2[ledger.Record, error] {
	return func(yield func(ledger.Record, error) bool) {
		for r, err := range records {
			if !yield(r, err) {
				return
			}
			s.progress.tell("%d of %d entries", r.Seq, size)
		}
	}
}

// reportAnswer is a report for programs.
type reportAnswer struct {
	Sound       bool            `json:"sound"`
	OrgID       uuid.UUID       `json:"org_id"`
	Entries     int64           `json:"entries"`
	Bodies      int64           `json:"bodies"`
	Hashes      int64           `json:"hashes"`
	Proven      int64           `json:"proven"`
	Checkpoints []heldAnswer    `json:"checkpoints"`
	FirstBad    *int64          `json:"first_bad"`
	Findings    []findingAnswer `json:"findings"`
	MoreFound   int             `json:"more_found"`
}

type heldAnswer struct {
	Size   int64       `json:"size"`
	Root   ledger.Hash `json:"root"`
	Agrees bool        `json:"agrees"`
}

type findingAnswer struct {
	Kind    ledger.Kind `json:"kind"`
	First   int64       `json:"first"`
	Last    int64       `json:"last"`
	Message string      `json:"message"`
}

func tellReport(w io.Writer, r ledger.Report, asJSON bool) error {
	if asJSON {
		return json.NewEncoder(w).Encode(answerOf(r))
	}
	var b strings.Builder
	if r.Sound() {
		fmt.Fprintf(&b, "All is as it was signed, up to entry %d.\n", r.Proven)
	} else {
		fmt.Fprintf(&b, "Not as it was signed: %s.\n", r.Findings[0])
	}
	fmt.Fprintf(&b, "\n%d entries were read, with %d bodies and %d hashes.\n", r.Entries, r.Bodies, r.Hashes)
	for _, held := range r.Checkpoints {
		word := "agrees"
		if !held.Agrees {
			word = "does not agree"
		}
		fmt.Fprintf(&b, "  the checkpoint of %d entries %s\n", held.Checkpoint.Size, word)
	}
	if !r.Sound() {
		b.WriteString("\nFound:\n")
		for _, f := range r.Findings {
			fmt.Fprintf(&b, "  %s\n", f)
		}
		if r.Left > 0 {
			fmt.Fprintf(&b, "  and %d more\n", r.Left)
		}
		if r.Proven > 0 {
			fmt.Fprintf(&b, "\nEntries 1 to %d are as they were signed.\n", r.Proven)
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func answerOf(r ledger.Report) reportAnswer {
	a := reportAnswer{
		Sound: r.Sound(), Entries: r.Entries, Bodies: r.Bodies, Hashes: r.Hashes, Proven: r.Proven, MoreFound: r.Left,
		Checkpoints: []heldAnswer{}, Findings: []findingAnswer{},
	}
	for _, held := range r.Checkpoints {
		a.OrgID = held.Checkpoint.OrgID
		a.Checkpoints = append(a.Checkpoints, heldAnswer{held.Checkpoint.Size, held.Checkpoint.Root, held.Agrees})
	}
	for _, f := range r.Findings {
		a.Findings = append(a.Findings, findingAnswer(f))
	}
	if len(r.Findings) > 0 {
		a.FirstBad = &r.Findings[0].First
	}
	return a
}
