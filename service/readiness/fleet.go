package readiness

import (
	"runtime"
	"sync"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
)

// Summary is a fleet in figures. Its JSON is the contract's form.
type Summary struct {
	ValidAt  time.Time    `json:"valid_at"`
	KnownAt  time.Time    `json:"known_at"`
	Rules    string       `json:"rules"`
	Vessels  int          `json:"vessels"`
	Verdicts VerdictCount `json:"verdicts"`
	Findings []RuleCount  `json:"findings"` // of the rules that found something, in their order
	Items    []Brief      `json:"items,omitempty"`
}

// VerdictCount is how many vessels have each verdict.
type VerdictCount struct {
	Ready            int `json:"ready"`
	WithReservations int `json:"ready_with_reservations"`
	NotReady         int `json:"not_ready"`
}

// RuleCount is on how many vessels a rule found something.
type RuleCount struct {
	Code     string   `json:"code"`
	Severity Severity `json:"severity"`
	Vessels  int      `json:"vessels"`
}

// Brief is a vessel in a word, with the codes of what was found, each once, in the order of the rules.
type Brief struct {
	ID         uuid.UUID `json:"id"`
	VesselName string    `json:"vessel_name"`
	Verdict    Verdict   `json:"verdict"`
	Codes      []string  `json:"codes"`
}

// BriefOf holds a state against every rule and puts nothing into words: the short form of what Judge reports.
func BriefOf(s *State, p *fleet.Policy, at As) Brief {
	b := Brief{ID: s.ID, VesselName: s.Vessel.Name, Verdict: Ready, Codes: []string{}}
	now := &circumstances{State: s, policy: p, at: at.ValidAt}
	found := false
	tell := func(func() Finding) { found = true }
	for i := range rules {
		found = false
		if rules[i].look(now, tell); found {
			b.Verdict, b.Codes = worse(b.Verdict, rules[i].Severity.verdict()), append(b.Codes, rules[i].Code)
		}
	}
	return b
}

// JudgeAll is Judge for each state, on all processors.
func JudgeAll(states []State, p fleet.Policy, at As, w *Window) []Report {
	reports := make([]Report, len(states))
	share(len(states), func(i int) { reports[i] = Judge(states[i], p, at, w) })
	return reports
}

// Summarise holds a fleet against every rule, on all processors. Briefs come in the order of the states.
func Summarise(states []State, p fleet.Policy, at As) Summary {
	s := Summary{
		ValidAt: at.ValidAt, KnownAt: at.KnownAt, Rules: Version, Vessels: len(states), Findings: []RuleCount{},
		Items: make([]Brief, len(states)),
	}
	share(len(states), func(i int) { s.Items[i] = BriefOf(&states[i], &p, at) })
	s.count()
	return s
}

// share does n things, each processor its share of them.
func share(n int, do func(int)) {
	var wait sync.WaitGroup
	part := n/runtime.GOMAXPROCS(0) + 1
	for from := 0; from < n; from += part {
		wait.Go(func() {
			for i := from; i < min(from+part, n); i++ {
				do(i)
			}
		})
	}
	wait.Wait()
}

// count adds the briefs up.
func (s *Summary) count() {
	found := map[string]int{}
	for _, b := range s.Items {
		s.Verdicts.add(b.Verdict)
		for _, code := range b.Codes {
			found[code]++
		}
	}
	for _, rule := range rules {
		if n := found[rule.Code]; n > 0 {
			s.Findings = append(s.Findings, RuleCount{rule.Code, rule.Severity, n})
		}
	}
}

func (c *VerdictCount) add(v Verdict) {
	switch v {
	case Ready:
		c.Ready++
	case WithReservations:
		c.WithReservations++
	case NotReady:
		c.NotReady++
	}
}
