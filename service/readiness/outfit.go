package readiness

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
	"rideout/service/planner"
)

// Outfit writes a set of gear, one line for each piece, sorted: what a plan was made for, to be held against what is
// rigged later. The lines are kept with plans, so their form must not change. Age and chafe are left out: they change
// without anything being changed aboard.
func Outfit(g *planner.Gear) []string {
	lines := []string{}
	if g == nil {
		return lines
	}
	add := func(format string, args ...any) { lines = append(lines, fmt.Sprintf(format, args...)) }
	if x := g.Canopy; x != nil {
		add("canopy %s %g m", x.Shape, x.DiameterM)
	}
	if x := g.Rode; x != nil {
		add("rode %s %g mm %g m%s%s%s", x.Construction, x.DiameterMM, x.LengthM, listed(x.Terminations), rated(x.BreakingN), sheet(len(x.DataSheet)))
	}
	for _, x := range g.Shackles {
		add("shackle %g mm%s", x.BodyMM, rated(x.WorkingLoadN))
	}
	for _, x := range g.Swivels {
		add("swivel%s", rated(x.WorkingLoadN))
	}
	if x := g.Chain; x != nil {
		add("chain %g mm grade %d %g m", x.SizeMM, x.Grade, x.LengthM)
	}
	if x := g.TripLine; x != nil {
		add("trip_line %g m", x.LengthM)
	}
	if x := g.Float; x != nil {
		add("float%s", rated(x.BuoyancyN))
	}
	if x := g.Bridle; x != nil {
		add("bridle %s %g mm legs of %g m%s", x.Construction, x.DiameterMM, x.LegM, listed(x.Terminations))
	}
	if x := g.Spare; x != nil {
		add("spare_line %s %g mm %g m %s", x.Construction, x.DiameterMM, x.LengthM, x.Knot)
	}
	if g.Chafe {
		add("chafe_gear")
	}
	slices.Sort(lines)
	return lines
}

func listed[T ~string](words []T) string {
	text := ""
	for _, w := range words {
		text += " " + string(w)
	}
	return text
}

func rated(n float64) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf(" %g N", n)
}

func sheet(points int) string {
	if points == 0 {
		return ""
	}
	return fmt.Sprintf(" data sheet of %d", points)
}

// otherGear holds what is rigged against what the plan was made for.
func otherGear(c *circumstances, tell tell) {
	p := c.standing()
	if p == nil {
		return
	}
	rigged, chafe := []string{}, false
	for i := range c.Gear {
		g := &c.Gear[i]
		if g.Item.InUse(c.at) && !(g.Item.Kind == "chafe_gear" && chafe) { // of chafe gear a plan knows only that there is some
			rigged = append(rigged, g.lines()...)
			chafe = chafe || g.Item.Kind == "chafe_gear"
		}
	}
	gone, come := without(p.Outfit, rigged), without(rigged, p.Outfit)
	if len(gone) == 0 && len(come) == 0 {
		return
	}
	tell(func() Finding {
		return Finding{
			Text:  sentence("her plan of %s was made for other gear than is rigged now.%s", day(p.MadeAt), difference(gone, come)),
			Fix:   "Make a plan for the gear rigged now, or rig the gear the plan was made for.",
			Since: new(c.changedSince(*p, gone, come)), Evidence: []Evidence{p.evidence(), c.gearEvidence()},
		}
	})
}

// lines is one piece of gear as Outfit writes it; none for what no plan knows.
func (g Gear) lines() []string {
	if g.Lines != nil {
		return g.Lines
	}
	return LinesOf(*g.Item)
}

// LinesOf is one piece of gear as Outfit writes it were it rigged; none for what no plan knows.
func LinesOf(item fleet.GearItem) []string {
	g := Gear{Item: &item}
	set, _ := fleet.SetOf([]fleet.GearItem{g.asRigged()}, []uuid.UUID{g.ID}, nil, time.Time{})
	return Outfit(set.Planned())
}

// asRigged is the item as if it were in use.
func (g Gear) asRigged() fleet.GearItem {
	item := *g.Item
	item.Spare, item.RetiredAt = false, nil
	return item
}

// without gives what of a is not in b, each as often as it is missing.
func without(a, b []string) (left []string) {
	b = slices.Clone(b)
	for _, line := range a {
		if i := slices.Index(b, line); i >= 0 {
			b = slices.Delete(b, i, i+1)
		} else {
			left = append(left, line)
		}
	}
	return left
}

// difference names what the plan has and is not rigged, and the other way round, each in a sentence.
func difference(gone, come []string) string {
	text := ""
	if len(gone) > 0 {
		text += " In the plan and no longer rigged: " + pieces(gone) + "."
	}
	if len(come) > 0 {
		text += " Rigged and not in the plan: " + pieces(come) + "."
	}
	return text
}

func pieces(lines []string) string { return plain(strings.Join(lines, "; ")) }

// changedSince is the first change of gear after the plan that the records tell of, else when the plan was made.
func (c *circumstances) changedSince(p Plan, gone, come []string) time.Time {
	first := time.Time{}
	take := func(at time.Time) {
		if at.After(p.MadeAt) && (first.IsZero() || at.Before(first)) {
			first = at
		}
	}
	for i := range c.Gear {
		g := &c.Gear[i]
		switch lines := g.lines(); {
		case g.Item.InUse(c.at) && len(without(come, lines)) < len(come):
			take(g.Since)
		case !g.Item.InUse(c.at) && len(without(gone, lines)) < len(gone):
			if g.Item.RetiredAt != nil {
				take(*g.Item.RetiredAt)
			} else {
				take(g.Since)
			}
		}
	}
	if first.IsZero() {
		return p.MadeAt
	}
	return first
}
