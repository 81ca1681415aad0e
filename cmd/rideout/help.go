package main

import (
	"cmp"
	"context"
	"flag"
	"fmt"
	"io"
	"strings"
)

// manual says of a command what its line in the list does not.
type manual struct {
	about    string
	examples []example
}

type example struct{ words, line string }

// wordsOf are the commands that take words and not flags, with what they take.
var wordsOf = map[string][]string{"help": {"COMMAND"}, "completion": {"bash", "zsh", "fish"}, "version": nil}

const called = "It calls the service at --server with the key in RIDEOUT_KEY or --key-file. On a terminal it prints tables, otherwise JSON."

// manuals has an entry for each command.
func manuals() map[string]manual {
	return map[string]manual{
		"plan": {"Takes a vessel, her gear and a forecast from files and prints the plan. Without --server nothing is sent and nothing kept. Without --gear a set is recommended.", []example{
			{"A plan for a yacht in a gale, lying 60 degrees off the wind", "rideout plan --vessel petrel.json --gear petrel-gear.json --forecast gale.json --position 59.25,-2.0 --heading 60"},
			{"The same, made and kept by a service", "rideout plan --server https://plans.example --vessel petrel.json --gear petrel-gear.json --forecast gale.json"},
			{"For a registered vessel, with the gear the register holds", "rideout plan --server https://plans.example --vessel-id 01945d2c-7c00-7000-8000-000000000002 --forecast gale.json"},
			{"Figures for a program", "rideout plan --vessel petrel.json --forecast gale.json --json | jq .loads"},
		}},
		"demo": {"Serves an invented fleet from a private Postgres and prints an address, a key and requests to try. Its plans are kept.", []example{
			{"On the usual port", "rideout demo"},
			{"On a free port, told as JSON on the first line", "rideout demo --addr 127.0.0.1:0 --json"},
		}},
		"serve": {"Serves the HTTP API on the database of DATABASE_URL, or on a private Postgres.", []example{
			{"On a database of your own", "DATABASE_URL=postgres://rideout@db.example/rideout rideout serve --addr 0.0.0.0:8080"},
			{"Whether the environment and the files it names are right, before a restart", "rideout serve --check-config"},
			{"With metrics for Prometheus on a port of their own, and logs for a collector", "RIDEOUT_METRICS_ADDR=10.0.0.5:9090 RIDEOUT_LOG_FORMAT=json rideout serve"},
		}},
		"key": {"Makes a key for an organisation and prints it, this once: what is kept is a hash. Also lists, rotates and revokes keys.", []example{
			{"A key for the office's dashboard, into a file only you can read", "(umask 077; rideout key --organisation 'Hamna Charter' --label dashboard > hamna.key)"},
		}},
		"log-key": {"Prints the public key that the log is signed with, or makes the key. Whoever verifies keeps the public one.", []example{
			{"The public key, where the service runs", "rideout log-key > log.pub"},
			{"A key for a database of your own, to be named in RIDEOUT_LOG_KEY_FILE", "rideout log-key --new --name rideout.example --file /etc/rideout/log.key"},
		}},
		"verify": {"Verifies a log or an export against signed checkpoints, and names the first entry that is not as it was signed. Code 0: all is; 1: something is not; 2: nothing could be verified. Without --manifest and --entries it reads the log of the service at --server.", []example{
			{"The log of a service, kept for the next time", "rideout verify --key log.pub --save january"},
			{"Against what was kept", "rideout verify --key log.pub --checkpoint january/checkpoint.txt"},
			{"An export with its manifest, without the service; rideout export --what audit makes both", "rideout verify --manifest manifest.json --key log.pub"},
		}},
		"migrate": {"Brings a database to this program's version. --down goes back, and loses what the later tables hold.", []example{
			{"Forward", "DATABASE_URL=postgres://rideout@db.example/rideout rideout migrate"},
		}},
		"vessels": {"Lists the registered vessels with their ids. " + called, []example{
			{"The fleet", "rideout vessels"},
			{"As it was on a day", "rideout vessels --valid-at 2026-01-12"},
		}},
		"readiness": {"Judges vessels by the rules of readiness, as of any time. " + called, []example{
			{"Which vessels are not ready", "rideout readiness --verdict not_ready"},
			{"One vessel, with all findings and what would put them right", "rideout readiness --vessel 'Vestvik Tern'"},
			{"What falls due in the week of a booking, with the weather usual then", "rideout readiness --vessel 'Vestvik Tern' --from 2026-06-01 --to 2026-06-08 --wind 18 --sea 2.1"},
			{"Names of those not ready, for a program", "rideout readiness --json | jq -r 'select(.verdict == \"not_ready\").vessel_name'"},
		}},
		"sheet": {"Fetches the crew's sheet: text for a messenger, a page, or two printed pages.", []example{
			{"To print, from the last plan made for her", "rideout sheet --vessel 'Kestrel of Hamna' --as pdf --out kestrel.pdf"},
			{"As text, in feet and pounds beside metres and newtons", "rideout sheet --plan 01945d2c-7c00-7000-8000-000000000001 --units trade"},
		}},
		"storm-plan": {"Fetches the plan in force in at most 1,200 bytes coded. By her id it is one round trip; a broken line is tried again. " + called, []example{
			{"Over a poor link", "rideout storm-plan --vessel 01945d2c-7c00-7000-8000-000000000002 --text"},
		}},
		"events": {"Lists what was recorded, oldest first, or follows it. A stream that breaks is taken up after the last event; none is missed, none comes twice. " + called, []example{
			{"What happened since an event", "rideout events --after 1234"},
			{"As it happens, for a program", "rideout events --follow --json | while read -r event; do echo \"$event\" | jq -r .type; done"},
		}},
		"export": {"Writes a whole list as JSON, one item a line, as the service answers it; or an audit: every change recorded in a span of time, with a manifest that verifies it without the service. A key with the scope audit:read is needed for an audit.", []example{
			{"All plans, each whole", "rideout export --what plans --whole --out plans.ndjson"},
			{"The readiness of the fleet on a day, as an auditor would ask", "rideout export --what readiness --valid-at 2026-01-12 --out readiness.ndjson"},
			{"All changes of a month, to be verified by anyone who has the public key", "rideout export --what audit --from 2026-01-01 --to 2026-02-01 --out january.csv --manifest january.json"},
			{"All changes until now, as JSON, held against a checkpoint of 120 entries that was kept", "rideout export --what audit --out audit.ndjson --manifest manifest.json --since 120"},
		}},
		"completion": {"Prints a script for the shell named.", []example{
			{"bash, for this shell", "source <(rideout completion bash)"},
			{"zsh, for all shells of yours", "rideout completion zsh > ~/.zsh/completions/_rideout"},
			{"fish, for all shells of yours", "rideout completion fish > ~/.config/fish/completions/rideout.fish"},
		}},
		"healthcheck": {"Asks /readyz once, for at most 3 s. Code 0: it is ready; 1: it is not, or nobody answers.", []example{
			{"In a container, where the address is set by RIDEOUT_ADDR", "rideout healthcheck"},
		}},
		"version": {"Prints the version of the program and of the computation.", []example{{"", "rideout version"}}},
		"help": {"Explains a command, or with --man prints the whole as a manual page.", []example{
			{"A command", "rideout help readiness"},
			{"The manual page, read or kept", "rideout help --man | man -l -"},
		}},
	}
}

const exitWords = `exit codes: 0 done; 1 it failed; 2 what was typed, or a file or request, is wrong`

const deferral = "An aid to the judgement of a qualified skipper, who decides. The gear maker's instructions, local rules, the flag state and the rescue service come first."

func help(_ context.Context, p program, args []string) error {
	switch {
	case len(args) == 0:
		return helpAll(p.stdout)
	case len(args) > 1:
		return usageError{"help: takes one command"}
	case args[0] == "--man" || args[0] == "-man":
		return writeManual(p.stdout)
	}
	for _, c := range commands() {
		if c.name == args[0] {
			return helpOne(p.stdout, c)
		}
	}
	return usageError{fmt.Sprintf("there is no command %q; rideout help lists them", args[0])}
}

func helpAll(w io.Writer) error {
	out := &page{w: w}
	out.print("rideout plans how a vessel lies to a parachute sea anchor.\n\nusage: rideout COMMAND [FLAGS]    rideout help COMMAND explains one with examples\n\n")
	for _, c := range commands() {
		out.print("  %-10s %s\n", c.name, c.words)
	}
	out.print("%s\n\n%s\n\n", environmentWords, exitWords)
	out.wrap("", deferral)
	return out.err
}

func helpOne(w io.Writer, c command) error {
	out := &page{w: w}
	m := manuals()[c.name]
	out.print("usage: %s\n\n", usageOf(c))
	out.wrap("", upperFirst(c.words)+". "+m.about)
	if flags := flagsOf(c); len(flags) > 0 {
		out.heading("flags")
		for _, f := range flags {
			value, words := flag.UnquoteUsage(f)
			out.print("  --%s\n", strings.TrimSpace(f.Name+" "+value))
			out.wrap("      ", words+defaultOf(f))
		}
	}
	out.heading("examples")
	for _, e := range m.examples {
		if e.words != "" {
			out.print("  # %s\n", e.words)
		}
		out.print("  %s\n", e.line)
	}
	out.print("\n%s\n", exitWords)
	return out.err
}

func usageOf(c command) string {
	takes, words := wordsOf[c.name]
	switch {
	case !words:
		return "rideout " + c.name + " [FLAGS]"
	case len(takes) > 0:
		return "rideout " + c.name + " " + strings.Join(takes, "|")
	}
	return "rideout " + c.name
}

func defaultOf(f *flag.Flag) string {
	if f.DefValue == "" || f.DefValue == "false" || f.DefValue == "0" {
		return ""
	}
	return " (" + f.DefValue + ")"
}

func upperFirst(text string) string { return strings.ToUpper(text[:1]) + text[1:] }

// writeManual writes all of help as a page for man, in the macros of man(7).
func writeManual(w io.Writer) error {
	out := &page{w: w}
	out.print(".TH RIDEOUT 1\n.SH NAME\nrideout \\- plans for lying to a parachute sea anchor\n.SH SYNOPSIS\n.B rideout\n.I COMMAND\n[FLAGS]\n.SH DESCRIPTION\n%s\n.SH COMMANDS\n", roff(deferral))
	for _, c := range commands() {
		m := manuals()[c.name]
		out.print(".SS %s\n%s\n", roff(usageOf(c)), roff(upperFirst(c.words)+". "+m.about))
		for _, f := range flagsOf(c) {
			value, words := flag.UnquoteUsage(f)
			out.print(".TP\n.BI %s\n%s\n", roff(strings.TrimSpace("--"+f.Name+" \" "+value+"\"")), roff(words+defaultOf(f)))
		}
		for _, e := range m.examples {
			out.print(".PP\n%s:\n.PP\n.in +4n\n.nf\n%s\n.fi\n.in\n", roff(cmp.Or(e.words, "Example")), roff(e.line))
		}
	}
	out.print(".SH ENVIRONMENT\n.nf\n%s\n.fi\n.SH EXIT STATUS\n%s\n", roff(strings.TrimSpace(environmentWords)), roff(exitWords))
	return out.err
}

// roff writes text so that no letter of it is a request.
func roff(text string) string {
	text = strings.NewReplacer(`\`, `\e`, "-", `\-`, "'", `\(aq`, "`", `\(ga`, "~", `\(ti`, "^", `\(ha`).Replace(text)
	lines := strings.Split(text, "\n")
	for i, line := range lines {
		if strings.HasPrefix(line, ".") {
			lines[i] = `\&` + line
		}
	}
	return strings.Join(lines, "\n")
}
