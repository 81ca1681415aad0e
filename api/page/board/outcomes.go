package board

import (
	"html/template"

	"rideout/api/page/drawing"
	"rideout/api/page/figure"
	"rideout/service"
)

// Outcomes is the page of what was observed beside what was predicted.
type Outcomes struct {
	Frame
	service.Outcomes
	At service.AsOf
}

// HTML writes the page.
func (p Outcomes) HTML() ([]byte, error) { return write("outcomes", p) }

// Share sums one quantity up.
type Share struct {
	Name, Unit string
	N, Inside  int
	Ratio      float64 // the median of observed to predicted
	Drawing    template.HTML
	Rows       []Row // the newest
}

// Row is one pair as the table has it.
type Row struct {
	service.Pair
	PredictedText, BandText, ObservedText string
	Ratio                                 float64
}

// mostRows is how many pairs a table has; the drawing has all.
const mostRows = 100

// Quantities are drift and load, each with its drawing and table.
func (p Outcomes) Quantities() ([]Share, error) {
	drift, err := p.share("drift", "kn", 1, true)
	if err != nil {
		return nil, err
	}
	load, err := p.share("mean load", "kN", 1000, false)
	return []Share{drift, load}, err
}

func (p Outcomes) share(name, unit string, per float64, drifts bool) (Share, error) {
	s := Share{Name: name, Unit: unit}
	var mates []figure.Mate
	var ratios []float64
	for _, pair := range p.Pairs {
		if pair.Drifts() != drifts {
			continue
		}
		if s.N++; pair.Inside() {
			s.Inside++
		}
		ratios = append(ratios, pair.Observed/pair.Predicted)
		mates = append(mates, figure.Mate{Predicted: pair.Band.Scale(1 / per), Observed: pair.Observed / per})
		if len(s.Rows) < mostRows {
			s.Rows = append(s.Rows, rowOf(pair))
		}
	}
	s.Ratio = figure.Median(ratios)
	names := map[string]string{"kn": "drift", "kN": "load"}
	drawn, err := drawing.Inline(figure.Agreement("agreement-"+names[unit], name, unit, mates, figure.Size{Width: 95, Height: 95}))
	s.Drawing = template.HTML(drawn) //nolint:gosec // escaped where it was drawn
	return s, err
}

func rowOf(p service.Pair) Row {
	r := Row{Pair: p, Ratio: p.Observed / p.Predicted}
	if p.Drifts() {
		r.PredictedText, r.BandText, r.ObservedText = drift(p.Predicted), drifts(p.Band), drift(p.Observed)
	} else {
		r.PredictedText, r.BandText, r.ObservedText = force(p.Predicted), forces(p.Band), force(p.Observed)
	}
	return r
}
