package hardware

import (
	"fmt"

	"rideout/service/physics/quantity"
)

// Link is a part before it is held against a load. Make it with one of the constructors of the
// package, or fill it from a maker's certificate.
type Link struct {
	Name        string
	Kind        Kind
	RatedN      float64 // what the part is rated for, N, after derating for its use
	Rating      Rating  // what that figure means
	DemandShare float64 // load on the part over the load of the rode; 1 for a part in line
	Basis       string  // where the figure comes from
}

// Sharing gives the same link under a share of the rode's load (0 to 10), such as a bridle leg's
// LegShare.
func (l Link) Sharing(share float64) Link {
	l.DemandShare = share
	return l
}

// Verdict is the word on a part.
type Verdict string

// The three words: within is a use up to the policy's threshold, marginal one above it and up to 1,
// over one beyond capacity.
const (
	Within   Verdict = "within"
	Marginal Verdict = "marginal"
	Over     Verdict = "over"
)

// Part is a link held against a load.
type Part struct {
	Name      string
	Kind      Kind
	CapacityN float64 // rating over the policy's factor
	DemandN   float64
	Use       float64 // demand over capacity
	Verdict   Verdict
	Basis     string
	Governing bool
}

// Chain holds a demand in N (the rode's characteristic peak load, 0 to 100 MN) against each link
// and marks the one with the greatest use as governing; of equals, the first. Exactly one part
// governs. A link without a rating is an error, for a part left out would look safe.
func Chain(links []Link, demandN float64, policy Policy) ([]Part, error) {
	if err := policy.Check(); err != nil {
		return nil, fmt.Errorf("check the policy: %w", err)
	}
	if err := quantity.Within("demand", demandN, 0, 1e8, "N"); err != nil {
		return nil, err
	}
	if err := quantity.Within("number of parts", float64(len(links)), 1, 1000, ""); err != nil {
		return nil, err
	}
	parts := make([]Part, len(links))
	governing := 0
	for i, l := range links {
		p, err := l.hold(demandN, policy)
		if err != nil {
			return nil, fmt.Errorf("part %q: %w", l.Name, err)
		}
		parts[i] = p
		if p.Use > parts[governing].Use {
			governing = i
		}
	}
	parts[governing].Governing = true
	return parts, nil
}

func (l Link) hold(demandN float64, policy Policy) (Part, error) {
	if err := quantity.Within("rating", l.RatedN, 1, 1e9, "N"); err != nil {
		return Part{}, err
	}
	if err := quantity.Within("share of the rode's load", l.DemandShare, 0, 10, ""); err != nil {
		return Part{}, err
	}
	f, err := policy.factor(l.Rating)
	if err != nil {
		return Part{}, err
	}
	p := Part{Name: l.Name, Kind: l.Kind, CapacityN: l.RatedN / f.Value, DemandN: demandN * l.DemandShare}
	p.Use = p.DemandN / p.CapacityN
	p.Verdict = policy.verdict(p.Use)
	p.Basis = fmt.Sprintf("%s; %s %g", l.Basis, f.Name, f.Value)
	return p, nil
}

func (p Policy) verdict(use float64) Verdict {
	switch {
	case use > 1:
		return Over
	case use > p.MarginalAbove:
		return Marginal
	}
	return Within
}
