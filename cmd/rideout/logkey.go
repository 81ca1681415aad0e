package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	"rideout/service/ledger"
)

// logKey prints the public half of the key that signs the log, and makes the key first when asked to.
func logKey(_ context.Context, p program, args []string) error {
	c, err := configure(p, "data")
	if err != nil {
		return err
	}
	flags := newFlags("log-key")
	makeIt := flags.Bool("new", false, "make the key; a `file` that is there already is left as it is")
	name := flags.String("name", hostName(), "whose key it is: one word, such as a host's `name`")
	flags.StringVar(&c.LogKeyFile, "file", c.LogKeyFile, "`file` of the key (without it, RIDEOUT_LOG_KEY_FILE; without that, in the data directory)")
	flags.StringVar(&c.DataDir, "data-dir", c.DataDir, "`directory` of a private Postgres (not used when a file is given)")
	if err := parse(p, flags, args); err != nil {
		return err
	}
	file := c.logKeyFile()
	if file == "" {
		return usageError{"log-key: name the file by --file or RIDEOUT_LOG_KEY_FILE"}
	}
	if *makeIt {
		if err := makeLogKey(file, *name); err != nil {
			return err
		}
	}
	signer, err := readLogKey(file)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(p.stdout, signer.Public())
	return err
}

// logKeyFile is where the key is; empty: a given database has a key only where one is named, as several machines that share
// it must share the key.
func (c config) logKeyFile() string {
	switch {
	case c.LogKeyFile != "":
		return c.LogKeyFile
	case c.DatabaseURL == "":
		return filepath.Join(c.DataDir, "log.key")
	}
	return ""
}

// signerOf gives the key that signs the log. Beside a private Postgres it is made once.
func signerOf(c config, log *slog.Logger) (ledger.Signer, error) {
	file := c.logKeyFile()
	if file == "" {
		log.Warn("the log is not signed: RIDEOUT_LOG_KEY_FILE names no key; rideout log-key --new makes one")
		return ledger.Signer{}, nil
	}
	signer, err := readLogKey(file)
	if errors.Is(err, fs.ErrNotExist) && c.LogKeyFile == "" {
		if err := makeLogKey(file, hostName()); err != nil {
			return ledger.Signer{}, err
		}
		signer, err = readLogKey(file)
	}
	if err == nil {
		warnOfOpenKey(file, log)
	}
	return signer, err
}

func warnOfOpenKey(file string, log *slog.Logger) {
	if info, err := os.Stat(file); err == nil && info.Mode().Perm()&0o007 != 0 {
		log.Warn("anybody on this machine can read the key that signs the log: chmod 600", "file", file)
	}
}

func readLogKey(file string) (ledger.Signer, error) {
	text, err := os.ReadFile(file)
	if errors.Is(err, fs.ErrNotExist) {
		return ledger.Signer{}, fmt.Errorf("the key that signs the log: %w; rideout log-key --new makes it", err)
	}
	if err != nil {
		return ledger.Signer{}, fmt.Errorf("the key that signs the log: %w", err)
	}
	signer, err := ledger.NewSigner(strings.TrimSpace(string(text)))
	if err != nil {
		return ledger.Signer{}, fmt.Errorf("the key that signs the log, in %s: %w", file, err)
	}
	return signer, nil
}

// makeLogKey writes a key only its owner can read. It writes over nothing: a lost key cannot be made again.
func makeLogKey(file, name string) (err error) {
	private, _, err := ledger.GenerateKey(rand.Reader, name)
	if err != nil {
		return usageError{"log-key: " + err.Error()}
	}
	f, err := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return fmt.Errorf("make the key that signs the log: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if _, err = f.WriteString(private + "\n"); err == nil {
		err = f.Sync()
	}
	return err
}

// hostName is a name that a key may have.
func hostName() string {
	name, err := os.Hostname()
	if err != nil || name == "" || strings.ContainsAny(name, "+ \t\n") {
		return "rideout"
	}
	return name
}
