package planner

import (
	"encoding/json"
	"fmt"
	"time"

	"rideout/service/physics/drift"
	"rideout/service/physics/geo"
	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
)

// Whereabouts is where a vessel lying to her canopy is at an instant, from the legs of a plan.
type Whereabouts struct {
	At                time.Time       `json:"at"`
	HoursFromStart    float64         `json:"hours_from_start"`
	Position          Position        `json:"position"` // middle track
	ProbabilityAshore float64         `json:"probability_ashore"`
	Containment       []Contained     `json:"containment"`
	GeoJSON           json.RawMessage `json:"geojson"`
	Adrift            *Whereabouts    `json:"without_sea_anchor,omitempty"`
}

// Contained is an area that holds her with a stated probability.
type Contained struct {
	Share   float64  `json:"share"`
	Centre  Position `json:"centre"`
	MajorNM float64  `json:"semi_major_nm"`
	MinorNM float64  `json:"semi_minor_nm"`
	AreaNM2 float64  `json:"area_nm2"`
}

// WhereAt computes where she is at an instant from the request and the sea room of her plan, lying to the canopy and,
// beside it, with nothing out. The instant must lie within the plan's forecast.
func WhereAt(r Request, room SeaRoom, at time.Time) (Whereabouts, error) {
	first := room.Legs[0].From
	hours := at.Sub(first).Hours()
	if total := totalH(room.Legs); hours < 0 || hours > total {
		return Whereabouts{}, &InvalidError{[]Problem{{"/at", fmt.Sprintf("%s lies outside the forecast of the plan", clock(at)), fmt.Sprintf("send an instant from %s to %s", clock(first), clock(after(first, total)))}}}
	}
	start, err := geo.At(r.Position.LatitudeDeg, r.Position.LongitudeDeg)
	if err != nil {
		return Whereabouts{}, err
	}
	w, err := chart(start, r.Hazards, reachM(room.Legs, room.WithoutAnchor.Legs))
	if err != nil {
		return Whereabouts{}, err
	}
	lying, err := w.at(spansOf(room.Legs, quantity.Degrees(canopyDivergence), toCanopy), first, hours, "lying to the sea anchor")
	if err != nil {
		return Whereabouts{}, err
	}
	bare, err := w.at(spansOf(room.WithoutAnchor.Legs, hull.Leeway(r.Vessel.Hull).Divergence(), nothingOut), first, hours, "with nothing out")
	lying.Adrift = &bare
	return lying, err
}

// at is where the spans have carried her after some hours.
func (w waters) at(spans []drift.Span, from time.Time, hours float64, name string) (Whereabouts, error) {
	spans = until(spans, hours)
	e, err := w.run(spans, nil)
	if err != nil {
		return Whereabouts{}, err
	}
	end := e.Mid.Fixes[len(e.Mid.Fixes)-1]
	where := Whereabouts{
		At: after(from, hours), HoursFromStart: r2(hours), ProbabilityAshore: sig3(e.Ashore.Probability().Mid),
		Position: Position{round5(end.Point.LatitudeDeg()), round5(end.Point.LongitudeDeg())},
	}
	regions, err := e.Regions(end.AtH, containedShares...)
	if err != nil {
		return Whereabouts{}, err
	}
	for _, r := range regions {
		where.Containment = append(where.Containment, Contained{
			Share: r.Share, Centre: Position{round5(r.Centre.LatitudeDeg()), round5(r.Centre.LongitudeDeg())},
			MajorNM: r2(r.SemiMajorM / quantity.MetresPerNauticalMile), MinorNM: r2(r.SemiMinorM / quantity.MetresPerNauticalMile),
			AreaNM2: sig3(r.AreaM2 / (quantity.MetresPerNauticalMile * quantity.MetresPerNauticalMile)),
		})
	}
	areas, err := containment(&e, from, []float64{end.AtH})
	if err != nil {
		return Whereabouts{}, err
	}
	where.GeoJSON, err = encoded(append([]featureMade{trackOf(e.Mid, from, name)}, areas...))
	return where, err
}

// leastSpanH is the shortest drift the physics takes.
const leastSpanH = 0.02

// until are the spans up to some hours from the start.
func until(spans []drift.Span, hours float64) []drift.Span {
	hours = max(hours, leastSpanH)
	var kept []drift.Span
	for _, s := range spans {
		if hours <= 1e-9 {
			break
		}
		s.Hours = min(s.Hours, hours)
		hours -= s.Hours
		kept = append(kept, s)
	}
	return kept
}
