package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"strings"
)

// completion prints a script that makes a shell complete commands, flags, what a flag may be, and files.
func completion(_ context.Context, p program, args []string) error {
	shells := map[string]func(io.Writer) error{"bash": bashCompletion, "zsh": zshCompletion, "fish": fishCompletion}
	if len(args) != 1 || shells[args[0]] == nil {
		return usageError{"completion: name the shell: bash, zsh or fish"}
	}
	return shells[args[0]](p.stdout)
}

// takesFile tells of a flag whose value is the name of a file.
func takesFile(f *flag.Flag) bool {
	value, _ := flag.UnquoteUsage(f)
	return value == "file" || value == "directory"
}

func commandNames() []string {
	var names []string
	for _, c := range commands() {
		names = append(names, c.name)
	}
	return names
}

// wordsAfter are what may follow a command that takes words.
func wordsAfter(c command) []string {
	if c.name == "help" {
		return append(commandNames(), "--man")
	}
	return wordsOf[c.name]
}

func bashCompletion(w io.Writer) error {
	out := &page{w: w}
	out.print(`# rideout for bash: source <(rideout completion bash)
_rideout() {
  local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]}
  COMPREPLY=()
  if [ "$COMP_CWORD" -eq 1 ]; then
    COMPREPLY=($(compgen -W "%s" -- "$word"))
    return
  fi
  case "${COMP_WORDS[1]} $before" in
`, strings.Join(commandNames(), " "))
	for _, c := range commands() {
		for _, f := range flagsOf(c) {
			if isSwitch(f) {
				continue
			}
			reply := ""
			switch list := choices(f); {
			case list != nil:
				reply = fmt.Sprintf(`COMPREPLY=($(compgen -W "%s" -- "$word")); `, strings.Join(list, " "))
			case takesFile(f):
				reply = `COMPREPLY=($(compgen -f -- "$word")); `
			}
			out.print("    '%s --%s') %sreturn ;;\n", c.name, f.Name, reply)
		}
	}
	out.print("  esac\n  case \"${COMP_WORDS[1]}\" in\n")
	for _, c := range commands() {
		words := wordsAfter(c)
		for _, f := range flagsOf(c) {
			words = append(words, "--"+f.Name)
		}
		out.print("    %s) COMPREPLY=($(compgen -W \"%s\" -- \"$word\")) ;;\n", c.name, strings.Join(words, " "))
	}
	out.print("  esac\n}\ncomplete -o filenames -F _rideout rideout\n")
	return out.err
}

func zshCompletion(w io.Writer) error {
	out := &page{w: w}
	out.print("#compdef rideout\n# rideout for zsh: put it as _rideout in a folder of $fpath\n_rideout() {\n  local -a commands\n  commands=(\n")
	for _, c := range commands() {
		out.print("    %s\n", quote(c.name+":"+c.words))
	}
	out.print("  )\n  if (( CURRENT == 2 )); then\n    _describe command commands\n    return\n  fi\n  local name=${words[2]}\n  shift words\n  (( CURRENT-- ))\n  case $name in\n")
	for _, c := range commands() {
		out.print("    %s)\n      _arguments", c.name)
		if words := wordsAfter(c); len(words) > 0 {
			out.print(" %s", quote("1:word:("+strings.Join(words, " ")+")"))
		}
		for _, f := range flagsOf(c) {
			out.print(" \\\n        %s", quote(zshFlag(f)))
		}
		out.print("\n      ;;\n")
	}
	out.print("  esac\n}\nif [ \"$funcstack[1]\" = _rideout ]; then _rideout \"$@\"; else compdef _rideout rideout; fi\n")
	return out.err
}

func zshFlag(f *flag.Flag) string {
	value, words := flag.UnquoteUsage(f)
	text := "--" + f.Name + "[" + strings.NewReplacer("[", "(", "]", ")", ":", `\:`).Replace(words) + "]"
	switch list := choices(f); {
	case isSwitch(f):
		return text
	case list != nil:
		return text + ":" + value + ":(" + strings.Join(list, " ") + ")"
	case takesFile(f):
		return text + ":" + value + ":_files"
	}
	return text + ":" + value + ":"
}

func fishCompletion(w io.Writer) error {
	out := &page{w: w}
	out.print("# rideout for fish: keep it as ~/.config/fish/completions/rideout.fish\ncomplete -c rideout -f\n")
	for _, c := range commands() {
		out.print("complete -c rideout -n __fish_use_subcommand -a %s -d %s\n", c.name, quote(c.words))
		within := "complete -c rideout -n " + quote("__fish_seen_subcommand_from "+c.name)
		if words := wordsAfter(c); len(words) > 0 {
			out.print("%s -a %s\n", within, quote(strings.Join(words, " ")))
		}
		for _, f := range flagsOf(c) {
			_, words := flag.UnquoteUsage(f)
			out.print("%s -l %s -d %s%s\n", within, f.Name, quote(words), fishValue(f))
		}
	}
	return out.err
}

func fishValue(f *flag.Flag) string {
	switch list := choices(f); {
	case isSwitch(f):
		return ""
	case list != nil:
		return " -x -a " + quote(strings.Join(list, " "))
	case takesFile(f):
		return " -r -F"
	}
	return " -x"
}

// quote quotes for all three shells.
func quote(text string) string { return "'" + strings.ReplaceAll(text, "'", `'\''`) + "'" }
