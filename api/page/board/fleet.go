package board

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"rideout/service"
	"rideout/service/readiness"
)

// Asked is what the board was asked for, as it was sent, so that the form shows it again.
type Asked struct {
	State, Rule, Text, ValidAt, KnownAt, Days string
}

// Address gives the board's address for this, with some of it changed.
func (a Asked) Address(changed ...string) string {
	pairs := []string{"state", a.State, "rule", a.Rule, "text", a.Text, "valid_at", a.ValidAt, "known_at", a.KnownAt, "days", a.Days}
	return query(Root, append(pairs, changed...)...)
}

// Narrowed tells whether vessels are left out.
func (a Asked) Narrowed() bool { return a.State != "" || a.Rule != "" || a.Text != "" }

// DefaultDays is how far ahead the board looks where nothing else is asked.
const DefaultDays = 90

// Fleet is the board.
type Fleet struct {
	Frame
	Asked
	Wrong      map[string]string // what is wrong with a field, by its name; then nothing was read
	At         service.AsOf
	Live       bool // it is as of now, and follows changes
	Overview   service.Overview
	Ahead      int    // days
	Next, Prev string // cursors; empty: none
}

// HTML writes the page.
func (p Fleet) HTML() ([]byte, error) {
	slices.SortStableFunc(p.Overview.Items, func(a, b readiness.Report) int {
		return cmp.Or(cmp.Compare(rank[b.Verdict], rank[a.Verdict]), cmp.Compare(len(b.Findings), len(a.Findings)), strings.Compare(a.VesselName, b.VesselName))
	})
	return write("fleet", p)
}

var rank = map[readiness.Verdict]int{readiness.Ready: 0, readiness.WithReservations: 1, readiness.NotReady: 2}

// Count is one figure of the tally, which narrows the board to what it counts.
type Count struct {
	Verdict readiness.Verdict
	N       int
	Href    string
	Chosen  bool
}

// Counts lists the tally by verdict, worst first. The one chosen leads back to all.
func (p Fleet) Counts() []Count {
	var counts []Count
	for _, v := range []readiness.Verdict{readiness.NotReady, readiness.WithReservations, readiness.Ready} {
		c := Count{Verdict: v, N: p.Overview.Tally.ByVerdict[v], Chosen: p.State == string(v)}
		if c.Href = p.Address("state", string(v)); c.Chosen {
			c.Href = p.Address("state", "")
		}
		counts = append(counts, c)
	}
	return counts
}

// Choice is one entry of a list to choose from.
type Choice struct {
	Value, Words string
	Chosen       bool
}

// States are the verdicts to choose from.
func (p Fleet) States() []Choice {
	choices := []Choice{{"", "all", p.State == ""}}
	for _, v := range []readiness.Verdict{readiness.NotReady, readiness.WithReservations, readiness.Ready} {
		choices = append(choices, Choice{string(v), strings.ToLower(verdictWords(v)), p.State == string(v)})
	}
	return choices
}

// Rules are the rules to choose from: those that find something in the fleet, with how many vessels, or will in the days
// asked about, and the one chosen.
func (p Fleet) Rules() []Choice {
	falls := map[string]bool{}
	for _, d := range p.Overview.Tally.Due {
		falls[d.Code] = true
	}
	choices := []Choice{{"", "all", p.Rule == ""}}
	for _, r := range readiness.Rules() {
		n := p.Overview.Tally.ByRule[r.Code]
		if n == 0 && !falls[r.Code] && p.Rule != r.Code {
			continue
		}
		words := fmt.Sprintf("%s (%d)", plain(r.Code), n)
		if n == 0 && falls[r.Code] {
			words = plain(r.Code) + " (falls due)"
		}
		choices = append(choices, Choice{r.Code, words, p.Rule == r.Code})
	}
	return choices
}

// Spans are the days ahead to choose from.
func (p Fleet) Spans() []Choice {
	var choices []Choice
	for _, n := range []int{30, 90, 180, 365} {
		choices = append(choices, Choice{strconv.Itoa(n), strconv.Itoa(n) + " days", p.Ahead == n})
	}
	return choices
}

// mostDue is how many lines of what falls due are listed: each has words, as they are of no more vessels.
const mostDue = service.DueTold

// DueLine is what falls due on a vessel on one day by one rule.
type DueLine struct {
	service.Due
	More int // of the same vessel, day and rule
}

// Due lists what falls due, soonest first; DueMore counts the lines that are not listed.
func (p Fleet) Due() []DueLine { return p.dueLines()[:min(mostDue, len(p.dueLines()))] }

// DueMore counts the lines of what falls due that are not listed.
func (p Fleet) DueMore() int { return max(0, len(p.dueLines())-mostDue) }

func (p Fleet) dueLines() []DueLine {
	var lines []DueLine
	at := map[string]int{}
	for _, d := range p.Overview.Tally.Due {
		of := d.VesselID.String() + d.Code + day(d.On)
		if i, known := at[of]; known {
			lines[i].More++
			continue
		}
		at[of] = len(lines)
		lines = append(lines, DueLine{Due: d})
	}
	return lines
}

// NextPage is the address of the page after this one; empty: none.
func (p Fleet) NextPage() string { return p.page(p.Next) }

// PrevPage is the address of the page before this one; empty: none.
func (p Fleet) PrevPage() string { return p.page(p.Prev) }

func (p Fleet) page(cursor string) string {
	if cursor == "" {
		return ""
	}
	return p.Address("cursor", cursor)
}

// Reason is a finding as the board shows it; More counts others of the same rule and day, which stand on her page.
type Reason struct {
	readiness.Finding
	More int
}

// alike puts findings of the same rule and day together, what keeps her in port before reservations and
// what falls due in the order of the days.
func alike(findings []readiness.Finding) []Reason {
	var reasons []Reason
	at := map[string]int{}
	for _, f := range findings {
		of := f.Code
		for _, t := range []*time.Time{f.Since, f.Due} {
			if t != nil {
				of += day(*t)
			}
		}
		if i, known := at[of]; known {
			reasons[i].More++
			continue
		}
		at[of] = len(reasons)
		reasons = append(reasons, Reason{Finding: f})
	}
	slices.SortStableFunc(reasons, func(a, b Reason) int {
		if a.Due != nil && b.Due != nil {
			return a.Due.Compare(*b.Due)
		}
		return cmp.Compare(weight[b.Severity], weight[a.Severity])
	})
	return reasons
}

var weight = map[readiness.Severity]int{readiness.Prevents: 1}

// atOnce is how many reasons of a vessel are open to the eye; the rest unfolds.
const atOnce = 3

func first(reasons []Reason) []Reason { return reasons[:min(atOnce, len(reasons))] }
func rest(reasons []Reason) []Reason  { return reasons[min(atOnce, len(reasons)):] }
