package board

import (
	"html/template"
	"slices"

	"github.com/google/uuid"

	"rideout/api/page/drawing"
	"rideout/api/page/figure"
	"rideout/service"
)

// Outcomes is the page of what was observed beside what was predicted.
type Outcomes struct {
	Frame
	service.PairPage
	At             service.AsOf
	NextAt, PrevAt string // cursors; empty: none
}

// HTML writes the page.
func (p Outcomes) HTML() ([]byte, error) { return write("outcomes", p) }

// Share sums one quantity up.
type Share struct {
	Name, Unit string
	N, Inside  int
	Ratio      float64 // the median of observed to the middle predicted
	Drawing    template.HTML
	Rows       []Row
}

// Row is one pair as the table has it.
type Row struct {
	service.Pair
	Predicted, Band, Observed string
	Ratio                     float64
	Inside                    bool
}

// Registered tells whether the vessel has a page.
func (r Row) Registered() bool { return r.VesselID != uuid.Nil }

// Quantities are drift and load, each with its drawing and table.
func (p Outcomes) Quantities() ([]Share, error) {
	drift, err := p.share("drift", "kn", 1, func(x service.Pair) *service.Matched { return x.Drift })
	if err != nil {
		return nil, err
	}
	load, err := p.share("mean load", "kN", 1000, func(x service.Pair) *service.Matched { return x.Load })
	return []Share{drift, load}, err
}

func (p Outcomes) share(name, unit string, per float64, of func(service.Pair) *service.Matched) (Share, error) {
	s := Share{Name: name, Unit: unit}
	var mates []figure.Mate
	var ratios []float64
	for _, pair := range p.Pairs {
		m := of(pair)
		if m == nil {
			continue
		}
		row := Row{Pair: pair, Inside: m.Inside(), Ratio: 1}
		if unit == "kn" {
			row.Predicted, row.Band, row.Observed = knots(m.Predicted.Mid), knotsBand(m.Predicted), knots(m.Observed)
		} else {
			row.Predicted, row.Band, row.Observed = force(m.Predicted.Mid), forces(m.Predicted), force(m.Observed)
		}
		if m.Predicted.Mid > 0 {
			row.Ratio = m.Observed / m.Predicted.Mid
			ratios = append(ratios, row.Ratio)
		}
		if s.N++; row.Inside {
			s.Inside++
		}
		s.Rows = append(s.Rows, row)
		mates = append(mates, figure.Mate{Predicted: m.Predicted.Scale(1 / per), Observed: m.Observed / per})
	}
	if n := len(ratios); n > 0 {
		slices.Sort(ratios)
		s.Ratio = (ratios[(n-1)/2] + ratios[n/2]) / 2
	}
	names := map[string]string{"kn": "drift", "kN": "load"}
	drawn, err := drawing.Inline(figure.Agreement("agreement-"+names[unit], name, unit, mates, figure.Size{Width: 95, Height: 95}))
	s.Drawing = template.HTML(drawn) //nolint:gosec // escaped where it was drawn
	return s, err
}

// NextPage is the address of older deployments; empty: none.
func (p Outcomes) NextPage() string { return outcomesPage(p.NextAt) }

// PrevPage is the address of newer ones; empty: none.
func (p Outcomes) PrevPage() string { return outcomesPage(p.PrevAt) }

func outcomesPage(cursor string) string {
	if cursor == "" {
		return ""
	}
	return query(Root+"/outcomes", "cursor", cursor)
}
