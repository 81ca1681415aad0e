package main

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"strings"
	"time"

	"rideout/api/client"
	"rideout/openapi"
	"rideout/service/ledger"
)

// audit is what was recorded in a span of time, as a file and the manifest that it is verified by.
type audit struct {
	from, to         *time.Time
	format, manifest string
	since            int64
}

// manifestPatience outlasts the three minutes a service has for an answer: it reads the whole audit before it has a manifest.
const manifestPatience = 4 * time.Minute

func (a *audit) flags(flags *flag.FlagSet) {
	timeFlag(flags, &a.from, "from", "of an audit: what was recorded from this `time` on; without it, from the first change")
	timeFlag(flags, &a.to, "to", "of an audit: what was recorded before this `time`; without it, all until now")
	flags.StringVar(&a.format, "format", "", "of an audit, `one` of ndjson, csv; without it, as the name of --out ends")
	flags.StringVar(&a.manifest, "manifest", "", "of an audit: write what rideout verify needs to this `file`, beside --out")
	flags.Int64Var(&a.since, "since", 0, "with --manifest: the `size` of a checkpoint that was kept; it then proves that nothing before was changed")
}

// asked tells whether any of it was typed.
func (a audit) asked() bool { return a != audit{} }

// check settles the format.
func (a *audit) check(out string) error {
	ending := strings.TrimPrefix(filepath.Ext(out), ".")
	a.format = cmp.Or(a.format, map[string]string{"csv": "csv"}[ending], "ndjson")
	switch {
	case a.format != "ndjson" && a.format != "csv":
		return usageError{fmt.Sprintf("export: --format is %q: give ndjson or csv", a.format)}
	case a.manifest == "" && a.since != 0:
		return usageError{"export: --since is what a manifest proves: name its file by --manifest"}
	case a.manifest == "":
		return nil
	case out == "":
		return usageError{"export: a manifest is of a file: name it by --out"}
	case ending != a.format:
		return usageError{fmt.Sprintf("export: a file of %s that is to be verified is named so: --out audit.%[1]s", a.format)}
	case filepath.Dir(out) != filepath.Dir(a.manifest) || filepath.Base(out) == filepath.Base(a.manifest):
		return usageError{"export: --manifest and --out are two files in one directory"}
	}
	return nil
}

// export keeps an audit and its manifest, both or none.
func (a audit) export(ctx context.Context, p program, c calling, out string) error {
	if err := a.check(out); err != nil {
		return err
	}
	c.patience = manifestPatience
	r, err := c.open(p)
	if err != nil {
		return err
	}
	defer r.progress.end()
	if a.manifest != "" && a.to == nil {
		if a.to, err = r.untilNow(ctx); err != nil {
			return err
		}
	}
	return toFile(out, p.stdout, func(w io.Writer) error {
		sum := sha256.New()
		if err := a.fetch(ctx, r, io.MultiWriter(w, sum)); err != nil || a.manifest == "" {
			return err
		}
		return a.fetchManifest(ctx, r, filepath.Base(out), hex.EncodeToString(sum.Sum(nil)))
	})
}

// untilNow fixes the end of a span by the clock of the service, so that an audit and its manifest are of the same changes
// whatever is recorded between. A date is in whole seconds: the one begun is waited for.
func (r *remote) untilNow(ctx context.Context) (*time.Time, error) {
	answer, err := r.GetCheckpoint(ctx, inText)
	if _, err := client.Bytes(answer, err); err != nil {
		return nil, err
	}
	now, err := http.ParseTime(answer.Header.Get("Date"))
	if err != nil {
		return nil, errors.New("the service does not tell its time: give --to")
	}
	select {
	case <-ctx.Done():
		return nil, ctx.Err()
	case <-time.After(time.Second):
		return new(now.Add(time.Second)), nil
	}
}

// fetch writes the audit as it comes.
func (a audit) fetch(ctx context.Context, r *remote, w io.Writer) error {
	answer, err := r.ExportAudit(ctx, &openapi.ExportAuditParams{From: a.from, To: a.to, Format: new(openapi.ExportAuditParamsFormat(a.format))})
	if err != nil {
		return err
	}
	if answer.StatusCode != http.StatusOK {
		_, err := client.Bytes(answer, nil)
		return err
	}
	defer answer.Body.Close()
	read, err := io.Copy(w, io.TeeReader(answer.Body, &counted{r.progress, 0}))
	if err != nil {
		return fmt.Errorf("the audit broke off after %.1f MB: %w", megabytes(read), err)
	}
	return nil
}

// counted tells how much came.
type counted struct {
	*progress
	bytes int64
}

func (t *counted) Write(b []byte) (int, error) {
	t.bytes += int64(len(b))
	t.tell("%.1f MB", megabytes(t.bytes))
	return len(b), nil
}

func megabytes(bytes int64) float64 { return float64(bytes) / 1e6 }

// fetchManifest writes the manifest of a file, by the name the file has here.
func (a audit) fetchManifest(ctx context.Context, r *remote, name, sum string) error {
	r.progress.end()
	r.progress.tell("the service makes the manifest")
	params := &openapi.GetExportManifestParams{From: a.from, To: a.to, Format: new(openapi.GetExportManifestParamsFormat(a.format))}
	if a.since != 0 {
		params.Since = &a.since
	}
	answered, err := client.Bytes(r.GetExportManifest(ctx, params))
	if err != nil {
		return err
	}
	m, body, err := manifestOf(answered, name, sum)
	if err != nil {
		return err
	}
	err = toFile(a.manifest, nil, func(w io.Writer) error {
		_, err := w.Write(body)
		return err
	})
	if err != nil {
		return err
	}
	r.progress.end()
	_, err = fmt.Fprintf(r.stderr, "%d changes, recorded before %s; verify them by: rideout verify --manifest %s --key log.pub\n", m.LastSeq-m.FirstSeq+1, a.to.UTC().Format(time.RFC3339), a.manifest)
	return err
}

// manifestOf reads a manifest as it was answered, holds it against the file's sum and gives it the file's name. The name proves
// nothing, so it is the caller's to choose.
func manifestOf(answered []byte, name, sum string) (m ledger.Manifest, body []byte, err error) {
	if err := json.Unmarshal(answered, &m); err != nil {
		return m, nil, fmt.Errorf("the manifest is not what the contract says: %w", err)
	}
	switch {
	case len(m.Files) != 1:
		return m, nil, fmt.Errorf("the manifest is not what the contract says: it names %d files", len(m.Files))
	case m.Files[0].SHA256 != sum:
		return m, nil, errors.New("the audit that came is not the one its manifest is of; nothing is kept, try again")
	case m.Files[0].Name == name:
		return m, answered, nil
	}
	m.Files[0].Name = name
	body, err = json.Marshal(m)
	return m, body, err
}
