package board

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"rideout/api/page/figure"
	"rideout/api/page/measure"
	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/planner"
	"rideout/service/readiness"
)

// Vessel is the page of one vessel.
type Vessel struct {
	Frame
	service.Dossier
	At       service.AsOf
	Live     bool
	Ahead    int
	Recorded string // an incident note just recorded; empty: none
}

// HTML writes the page.
func (p Vessel) HTML() ([]byte, error) { return write("vessel", p) }

// Address is the page's own.
func (p Vessel) Address() string { return Root + "/vessels/" + p.ID.String() }

// Sheet is the address of the plan in force.
func (p Vessel) Sheet() string {
	if p.Storm == nil {
		return ""
	}
	return Root + "/plans/" + p.Storm.Facts.ID.String()
}

// Phases are those of the plan in force, in time order.
func (p Vessel) Phases() []planner.StormPhase {
	phases := slices.Clone(p.Storm.Short.PayOut)
	slices.SortStableFunc(phases, func(a, b planner.StormPhase) int { return a.From.Compare(b.From) })
	return phases
}

// Drawings lists the drawings of a plan.
func (p Vessel) Drawings() []string { return figure.Names() }

// Item is one piece of gear as a row.
type Item struct {
	readiness.Gear
	Name, Figures, Age, Used, State string
}

// Items lists the gear: first what is rigged, then spares, then what was retired.
func (p Vessel) Items() []Item {
	var rigged, spare, gone []Item
	for _, g := range p.Gear {
		i := Item{Gear: g, Name: capital(plain(g.Item.Kind)), Figures: figures(*g.Item), Age: age(*g.Item, p.At.ValidAt), Used: used(*g.Item)}
		switch {
		case g.Item.RetiredAt != nil && !g.Item.RetiredAt.After(p.At.ValidAt):
			i.State = "retired " + day(*g.Item.RetiredAt) + ": " + g.Item.RetiredWhy
			gone = append(gone, i)
		case g.Item.Spare:
			i.State = "spare"
			spare = append(spare, i)
		default:
			i.State = "rigged"
			rigged = append(rigged, i)
		}
	}
	return append(append(rigged, spare...), gone...)
}

// figures writes the figures of a piece of gear.
func figures(g fleet.GearItem) string {
	switch {
	case g.Canopy != nil:
		return fmt.Sprintf("%s, %s", plain(string(g.Canopy.Shape)), metres(g.Canopy.DiameterM))
	case g.Rode != nil:
		return rope(string(g.Rode.Construction), g.Rode.DiameterMM, g.Rode.LengthM)
	case g.Bridle != nil:
		return rope(string(g.Bridle.Construction), g.Bridle.DiameterMM, g.Bridle.LegM) + " each leg"
	case g.SpareLine != nil:
		return rope(string(g.SpareLine.Construction), g.SpareLine.DiameterMM, g.SpareLine.LengthM)
	case g.Shackle != nil:
		return measure.Diameter(g.Shackle.BodyMM)
	case g.Swivel != nil:
		return "works at " + force(g.Swivel.WorkingLoadN)
	case g.Chain != nil:
		return fmt.Sprintf("%s, grade %d, %s", measure.Diameter(g.Chain.SizeMM), g.Chain.Grade, metres(g.Chain.LengthM))
	case g.TripLine != nil:
		return metres(g.TripLine.LengthM)
	case g.Float != nil:
		return "buoyancy " + force(g.Float.BuoyancyN)
	}
	return ""
}

func rope(construction string, mm, m float64) string {
	return fmt.Sprintf("%s, %s, %s", plain(construction), measure.Diameter(mm), metres(m))
}

// age writes how old a piece of gear is, from its first use or else its making.
func age(g fleet.GearItem, at time.Time) string {
	from, ok := g.FirstUsedOn.Time()
	of := " since first use"
	if !ok {
		if from, ok = g.MadeOn.Time(); !ok {
			return "not known"
		}
		of = " since made"
	}
	years := at.Sub(from).Hours() / 24 / 365.25
	if years < 2 {
		return fmt.Sprintf("%.0f months%s", math.Max(0, math.Floor(years*12)), of)
	}
	return fmt.Sprintf("%.0f years%s", math.Floor(years), of)
}

func used(g fleet.GearItem) string {
	var parts []string
	if g.StormHours > 0 {
		parts = append(parts, fmt.Sprintf("%.0f h of storm", g.StormHours))
	}
	if g.FatigueShare > 0 {
		parts = append(parts, percent(g.FatigueShare)+" of its life")
	}
	return strings.Join(parts, ", ")
}

// Open tells whether an incident keeps the vessel in port, is open, or closed.
func (p Vessel) Open(i fleet.Incident) string {
	switch {
	case i.Grounds(p.At.ValidAt):
		return "open, keeps her in port"
	case i.ClosedAt != nil && !i.ClosedAt.After(p.At.ValidAt):
		return "closed " + day(*i.ClosedAt)
	}
	return "open"
}
