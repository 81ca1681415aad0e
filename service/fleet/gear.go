package fleet

import (
	"fmt"
	"time"

	"github.com/google/uuid"

	"rideout/service/planner"
)

// GearItem is one piece of gear. It ends by being retired, never by being removed.
type GearItem struct {
	lasting
	Kind        string     `json:"kind"` // canopy, rode, ..., or one without figures: chafe_gear, knife, light
	Name        string     `json:"name,omitempty"`
	Serial      string     `json:"serial,omitempty"`
	Maker       string     `json:"maker,omitempty"`
	MadeOn      Date       `json:"made_on,omitempty"`
	FirstUsedOn Date       `json:"first_used_on,omitempty"`
	VesselID    *uuid.UUID `json:"vessel_id,omitempty"` // nil: ashore
	Place       string     `json:"place,omitempty"`     // where aboard
	Spare       bool       `json:"spare,omitempty"`     // carried, but not rigged: no part of a plan
	RetiredAt   *time.Time `json:"retired_at,omitempty"`
	RetiredWhy  string     `json:"retired_why,omitempty"`

	// Use that no deployment in the book tells of, as the organisation counts it; what deployments add is UseOf's.
	StormHours   float64 `json:"storm_hours,omitempty"`
	FatigueShare float64 `json:"fatigue_share,omitempty"`

	Canopy    *Canopy    `json:"canopy,omitempty"`
	Rode      *Rode      `json:"rode,omitempty"`
	Shackle   *Shackle   `json:"shackle,omitempty"`
	Swivel    *Swivel    `json:"swivel,omitempty"`
	Chain     *Chain     `json:"chain,omitempty"`
	TripLine  *TripLine  `json:"trip_line,omitempty"`
	Float     *Float     `json:"float,omitempty"`
	Bridle    *Bridle    `json:"bridle,omitempty"`
	SpareLine *SpareLine `json:"spare_line,omitempty"`
	Note      string     `json:"note,omitempty"`
}

// figured are the kinds that have figures, in the order in which they are checked.
var figured = []string{"shackle", "swivel", "canopy", "rode", "chain", "trip_line", "float", "bridle", "spare_line"}

// figures tells which of the figured are given.
func (g *GearItem) figures() map[string]bool {
	return map[string]bool{
		"canopy": g.Canopy != nil, "rode": g.Rode != nil, "shackle": g.Shackle != nil, "swivel": g.Swivel != nil, "chain": g.Chain != nil,
		"trip_line": g.TripLine != nil, "float": g.Float != nil, "bridle": g.Bridle != nil, "spare_line": g.SpareLine != nil,
	}
}

// Settle writes times in UTC.
func (g *GearItem) Settle() { inUTC(g.RetiredAt) }

// Check checks that the figures are those of the kind, as the planner does, and that its life runs forward.
func (g *GearItem) Check(now time.Time) []planner.Problem {
	c := checker{now: now}
	figures := g.figures()
	for _, name := range figured {
		switch given := figures[name]; {
		case given && name != g.Kind:
			c.add("/"+name, "belongs to another kind than "+g.Kind, "leave it out, or correct the kind")
		case !given && name == g.Kind:
			c.add("/"+name, "is missing", "send the figures of the "+name)
		}
	}
	for _, name := range figured {
		from := "/gear/" + name
		if name == "shackle" || name == "swivel" { // of which a set has several
			from += "s/0"
		}
		c.problems = append(c.problems, plannersProblems(planner.Vessel{}, g.set().Planned(), from, "/"+name)...)
	}
	c.date("/made_on", g.MadeOn)
	c.date("/first_used_on", g.FirstUsedOn)
	if made, ok := g.MadeOn.Time(); ok {
		if used, ok := g.FirstUsedOn.Time(); ok {
			c.ordered("/first_used_on", made, used)
		}
	}
	g.checkEnd(&c)
	return c.problems
}

func (g *GearItem) checkEnd(c *checker) {
	if g.RetiredAt == nil {
		if g.RetiredWhy != "" {
			c.add("/retired_at", "is missing", "send when it was retired, or leave out why")
		}
		return
	}
	c.happened("/retired_at", *g.RetiredAt)
	if g.RetiredWhy == "" {
		c.add("/retired_why", "is missing", "say why it was retired")
	}
}

// set gives the item as a set of one.
func (g *GearItem) set() Set {
	s := Set{
		Canopy: g.Canopy, Rode: g.Rode, Chain: g.Chain, TripLine: g.TripLine, Float: g.Float,
		Bridle: g.Bridle, SpareLine: g.SpareLine, ChafeGear: g.Kind == "chafe_gear",
	}
	if g.Shackle != nil {
		s.Shackles = []Shackle{*g.Shackle}
	}
	if g.Swivel != nil {
		s.Swivels = []Swivel{*g.Swivel}
	}
	return s
}

// Refs is the vessel it is fitted to.
func (g *GearItem) Refs() []Ref { return refsOf(KindVessel, "/vessel_id", g.VesselID) }

// Vessel is the vessel it is fitted to.
func (g *GearItem) Vessel() uuid.UUID { return orNil(g.VesselID) }

// InUse tells whether it is rigged for use at a time: neither spare nor retired.
func (g *GearItem) InUse(at time.Time) bool {
	return !g.Spare && (g.RetiredAt == nil || g.RetiredAt.After(at))
}

const daysOfYear = 365.25

// SetOf puts the items in use at a time together as the set a plan is made for. A rode whose age is not given is
// as old as its first use, or else its making, says; chafed is the share worn through that was measured last, by item.
// It says where two items claim one place.
func SetOf(items []GearItem, ids []uuid.UUID, chafed map[uuid.UUID]float64, at time.Time) (Set, []planner.Problem) {
	var s Set
	c := checker{}
	for i, item := range items {
		if !item.InUse(at) {
			continue
		}
		one := item.set()
		if one.Rode != nil {
			one.Rode = one.Rode.aged(item, at)
			if share, known := chafed[ids[i]]; known && (one.Rode.ChafedShare == nil || share > *one.Rode.ChafedShare) {
				one.Rode.ChafedShare = &share // the greater: figures are not written anew with each inspection
			}
		}
		s.Shackles, s.Swivels = append(s.Shackles, one.Shackles...), append(s.Swivels, one.Swivels...)
		s.ChafeGear = s.ChafeGear || one.ChafeGear
		take(&c, &s.Canopy, one.Canopy, "canopy")
		take(&c, &s.Rode, one.Rode, "rode")
		take(&c, &s.Chain, one.Chain, "chain")
		take(&c, &s.TripLine, one.TripLine, "trip_line")
		take(&c, &s.Float, one.Float, "float")
		take(&c, &s.Bridle, one.Bridle, "bridle")
		take(&c, &s.SpareLine, one.SpareLine, "spare_line")
	}
	return s, c.problems
}

func take[T any](c *checker, place **T, item *T, name string) {
	switch {
	case item == nil:
	case *place != nil:
		c.add("/gear/"+name, fmt.Sprintf("more than one %s is registered as fitted", name), "mark all but one as spare, or send gear")
	default:
		*place = item
	}
}

func (r Rode) aged(item GearItem, at time.Time) *Rode {
	if r.AgeYears != nil {
		return &r
	}
	from, ok := item.FirstUsedOn.Time()
	if !ok {
		from, ok = item.MadeOn.Time()
	}
	if ok && at.After(from) {
		age := float64(int(at.Sub(from).Hours()/24)) / daysOfYear // whole days, so that plans of one day agree
		r.AgeYears = &age
	}
	return &r
}

func inUTC(times ...*time.Time) {
	for _, t := range times {
		if t != nil {
			*t = t.UTC()
		}
	}
}
