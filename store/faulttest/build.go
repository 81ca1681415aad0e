package faulttest

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// Swap puts other text in the place of text in a source file, to build a binary with a bug or a handle for a fault. The files stay as they are.
type Swap struct{ File, Old, New string }

// Build builds the service into a directory, with swaps. It is run within the module.
func Build(ctx context.Context, dir, name string, swaps ...Swap) (string, error) {
	binary := filepath.Join(dir, name)
	args := []string{"build", "-buildvcs=false", "-ldflags", "-s -w", "-o", binary} // stacks are told without what is left out
	if len(swaps) > 0 {
		overlay, err := overlayOf(ctx, dir, name, swaps)
		if err != nil {
			return "", err
		}
		args = append(args, "-overlay", overlay)
	}
	_, err := runGo(ctx, append(args, "rideout/cmd/rideout")...)
	return binary, err
}

// overlayOf writes the swapped files and the list of them that go build takes.
func overlayOf(ctx context.Context, dir, name string, swaps []Swap) (string, error) {
	out, err := runGo(ctx, "env", "GOMOD")
	if err != nil {
		return "", err
	}
	root := filepath.Dir(strings.TrimSpace(out))
	texts := map[string]string{}
	for _, s := range swaps {
		path := filepath.Join(root, s.File)
		text, there := texts[path]
		if !there {
			read, err := os.ReadFile(path)
			if err != nil {
				return "", err
			}
			text = string(read)
		}
		if !strings.Contains(text, s.Old) {
			return "", fmt.Errorf("%s has no %q any more: the bug cannot be put in", s.File, s.Old)
		}
		texts[path] = strings.ReplaceAll(text, s.Old, s.New)
	}
	replace := map[string]string{}
	for path, text := range texts {
		swapped := filepath.Join(dir, name+"-"+filepath.Base(path))
		if err := os.WriteFile(swapped, []byte(text), 0o644); err != nil {
			return "", err
		}
		replace[path] = swapped
	}
	list, err := json.Marshal(map[string]any{"Replace": replace})
	if err != nil {
		return "", err
	}
	file := filepath.Join(dir, name+".json")
	return file, os.WriteFile(file, list, 0o644)
}

func runGo(ctx context.Context, args ...string) (string, error) {
	cmd := exec.CommandContext(ctx, "go", args...)
	var out, said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &said
	if err := cmd.Run(); err != nil {
		return "", fmt.Errorf("go %s: %w: %s", args[0], err, said.String())
	}
	return out.String(), nil
}
