package readiness

import (
	"fmt"
	"strings"
)

// Page writes the rules as the page RULES.md.
func Page() string {
	var b strings.Builder
	fmt.Fprintf(&b, `# The rules of readiness

Version %s. Written from the table in rules.go; `+"`go test ./service/readiness -update`"+` writes it anew.

A vessel is judged as of an instant, `+"`valid_at`"+`, by what was recorded up to `+"`known_at`"+`. A finding is something that is not as a rule
asks. With a finding of severity `+"`not_ready`"+` she is not ready; with reservations alone she is ready with reservations; without
findings she is ready. For a window the same rules are held against the end of it, on the records of now: what is found
then and not at `+"`valid_at`"+` falls due in between, and `+"`due`"+` says when.

| code | a finding means | asks |
|---|---|---|
`, Version)
	for _, r := range rules {
		fmt.Fprintf(&b, "| `%s` | %s | %s |\n", r.Code, map[Severity]string{Prevents: "not ready", Reservation: "reservation"}[r.Severity], r.Asks)
	}
	return b.String()
}
