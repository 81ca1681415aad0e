// Command coastline turns the shore lines of GSHHG into the one file that service/physics/coast embeds.
//
// It is run once for each release of the data, by the recipe "The coast's data" in DEVELOPERS.md:
//
//	go run ./cmd/coastline -source binned_GSHHS_h.nc -o service/physics/coast/coast.bin
//
// The source is netCDF-4, that is HDF5, and ncdump (Debian's netcdf-bin) reads it: a reader of our own would be
// longer than this tool and used once. Same source, same bytes: nothing here asks the clock or a map's order.
package main

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"rideout/service/physics/coast"
)

func main() {
	source := flag.String("source", "", "binned_GSHHS_?.nc of GSHHG")
	out := flag.String("o", "coast.bin", "file to write")
	flag.Parse()
	if err := run(*source, *out, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "coastline:", err)
		os.Exit(1)
	}
}

func run(source, out string, said io.Writer) error {
	if source == "" {
		return errors.New("-source is needed: the path of binned_GSHHS_h.nc")
	}
	original, err := os.ReadFile(source)
	if err != nil {
		return err
	}
	text, err := dump(source)
	if err != nil {
		return err
	}
	compact, err := turn(text, filepath.Base(source), fmt.Sprintf("%x", sha256.Sum256(original)))
	if err != nil {
		return err
	}
	if err := os.WriteFile(out, compact, 0o644); err != nil {
		return err
	}
	head, _, _ := strings.Cut(string(compact), "\n\n")
	_, err = fmt.Fprintf(said, "%s\nwrote %s, %d bytes\n", head, out, len(compact))
	return err
}

// dump asks ncdump for the variables that are read here.
func dump(source string) (string, error) {
	command := exec.Command("ncdump", "-v", strings.Join(variables, ","), source)
	var text, complaint bytes.Buffer
	command.Stdout, command.Stderr = &text, &complaint
	if err := command.Run(); err != nil {
		return "", fmt.Errorf("ncdump (Debian: netcdf-bin): %w: %s", err, complaint.String())
	}
	return text.String(), nil
}

// turn makes the compact file of a dump, and reads it back before it is believed.
func turn(text, name, sha256Hex string) ([]byte, error) {
	dumped, err := readDump(text)
	if err != nil {
		return nil, err
	}
	shores, err := sorted(dumped)
	if err != nil {
		return nil, err
	}
	compact := encode(shores, name, sha256Hex)
	written, err := coast.Open(string(compact))
	if err != nil {
		return nil, fmt.Errorf("reading back: %w", err)
	}
	if err := written.Check(); err != nil {
		return nil, fmt.Errorf("reading back: %w", err)
	}
	return compact, nil
}
