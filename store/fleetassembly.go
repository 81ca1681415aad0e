package store

import (
	"bytes"
	"time"
	"unique"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service/planner"
	"rideout/service/readiness"
)

// fleetAssembly puts together what the rules are told of each vessel.
type fleetAssembly struct {
	states   []readiness.State
	vessel   map[uuid.UUID]int // where she stands in the states
	vesselAt []int             // the same by her place in the book; -1: she was not registered
	gearAt   []place           // by its place in the book
	outfits  map[string][]string
}

// place is where a piece of gear stands in the states; the vessel -1: it was no vessel's.
type place struct{ vessel, item int }

// assemblies keeps the room two fleets take for the next ones: it is a few megabytes, and the collector would run several
// times for each question. A sync.Pool would be emptied by the collector between two of them.
var assemblies = make(chan *fleetAssembly, 2)

func anAssembly() *fleetAssembly {
	select {
	case f := <-assemblies:
		return f
	default:
		return &fleetAssembly{vessel: map[uuid.UUID]int{}, outfits: map[string][]string{}}
	}
}

// keep keeps the room, unless the fleet was so large that it would weigh on a small machine.
func (f *fleetAssembly) keep() {
	if len(f.gearAt) > mostGearKept {
		return
	}
	f.reset()
	select {
	case assemblies <- f:
	default:
	}
}

// The gear of the largest fleet whose room is kept, which takes about 10 MB, and how many outfits are.
const (
	mostGearKept    = 40_000
	mostOutfitsKept = 20_000
)

// reset forgets whose fleet it was. An outfit that is written alike is the same for all.
func (f *fleetAssembly) reset() {
	for i := range f.states {
		gear := f.states[i].Gear
		clear(gear)
		f.states[i] = readiness.State{Gear: gear[:0]}
	}
	clear(f.vessel)
	f.states, f.vesselAt, f.gearAt = f.states[:0], f.vesselAt[:0], f.gearAt[:0]
	if len(f.outfits) > mostOutfitsKept {
		clear(f.outfits)
	}
}

// take takes from a book what was in force. What the states point to in it is never changed.
func (f *fleetAssembly) take(b *fleetBook, at moment) {
	f.takeVessels(b, at)
	f.takeGear(b, at)
	f.takeInspections(b, at)
	f.takeDrills(b, at)
	f.takeIncidents(b, at)
	f.takeDeployments(b, at)
}

func (f *fleetAssembly) takeVessels(b *fleetBook, at moment) {
	f.vesselAt = append(f.vesselAt, make([]int, len(b.vessels.list))...)
	for _, i := range b.vessels.byID {
		vessel := &b.vessels.list[i]
		v := vessel.inForce(at)
		if v == nil {
			f.vesselAt[i] = -1
			continue
		}
		s := f.next()
		s.ID, s.Since = vessel.id, time.UnixMicro(v.from).UTC()
		s.Vessel.Status, s.Vessel.DesignCategory, s.Vessel.Name = v.is.status, v.is.category, v.is.name
		f.vesselAt[i] = len(f.states) - 1
		f.vessel[vessel.id] = len(f.states) - 1
	}
}

// mostCarried is how much gear a vessel has room for before more room is made.
const mostCarried = 10

// next makes room for a vessel, or takes it from a fleet before.
func (f *fleetAssembly) next() *readiness.State {
	if n := len(f.states); n < cap(f.states) {
		f.states = f.states[:n+1]
	} else {
		f.states = append(f.states, readiness.State{})
	}
	s := &f.states[len(f.states)-1]
	if s.Gear == nil {
		s.Gear = make([]readiness.Gear, 0, mostCarried)
	}
	return s
}

// hers gives where a vessel stands by her place in the book.
func (f *fleetAssembly) hers(vessel int) *readiness.State {
	if vessel < 0 || f.vesselAt[vessel] < 0 {
		return nil
	}
	return &f.states[f.vesselAt[vessel]]
}

func (f *fleetAssembly) takeGear(b *fleetBook, at moment) {
	f.gearAt = append(f.gearAt, make([]place, len(b.gear.list))...)
	for _, i := range b.gear.byID {
		f.gearAt[i].vessel = -1
		piece := &b.gear.list[i]
		v := piece.inForce(at)
		if v == nil {
			continue
		}
		s := f.hers(v.is.vessel)
		if s == nil {
			continue
		}
		f.gearAt[i] = place{f.vesselAt[v.is.vessel], len(s.Gear)}
		s.Gear = append(s.Gear, readiness.Gear{ID: piece.id, Item: v.is.item, Lines: v.is.lines, Since: time.UnixMicro(v.from).UTC()})
	}
}

// found gives where a piece of gear stands by its place in the book; nil: nowhere.
func (f *fleetAssembly) found(gear int) *readiness.Gear {
	if gear < 0 || f.gearAt[gear].vessel < 0 {
		return nil
	}
	p := f.gearAt[gear]
	return &f.states[p.vessel].Gear[p.item]
}

// takeInspections finds the last of each piece of gear, and the last that measured chafe.
func (f *fleetAssembly) takeInspections(b *fleetBook, at moment) {
	for i := range b.inspections.list {
		v := b.inspections.list[i].inForce(at)
		if v == nil {
			continue
		}
		g := f.found(v.is.gear)
		if g == nil {
			continue
		}
		if last := g.Inspection; last == nil || isLater(v.is.last.At, v.is.last.ID, last.At, last.ID) {
			g.Inspection = &v.is.last
		}
		if c := v.is.chafe; c != nil && (g.Chafe == nil || isLater(c.At, c.InspectionID, g.Chafe.At, g.Chafe.InspectionID)) {
			g.Chafe = c
		}
	}
}

// isLater tells of two things that happened which counts as the later one.
func isLater(at time.Time, id uuid.UUID, than time.Time, thanID uuid.UUID) bool {
	if order := at.Compare(than); order != 0 {
		return order > 0
	}
	return bytes.Compare(id[:], thanID[:]) > 0
}

func (f *fleetAssembly) takeDrills(b *fleetBook, at moment) {
	for i := range b.drills.list {
		v := b.drills.list[i].inForce(at)
		if v == nil || !v.is.counts {
			continue
		}
		if s := f.hers(v.is.vessel); s != nil && (s.Drill == nil || isLater(v.is.last.At, v.is.last.ID, s.Drill.At, s.Drill.ID)) {
			s.Drill = &v.is.last
		}
	}
}

func (f *fleetAssembly) takeIncidents(b *fleetBook, at moment) {
	for _, i := range b.incidents.byID {
		v := b.incidents.list[i].inForce(at)
		if v == nil {
			continue
		}
		if s := f.hers(v.is.vessel); s != nil {
			s.Incidents = append(s.Incidents, v.is.is)
		}
	}
}

// takeDeployments gives rodes and canopies the deployments they were in. One counts by its plan.
func (f *fleetAssembly) takeDeployments(b *fleetBook, at moment) {
	for _, i := range b.deployments.byID {
		v := b.deployments.list[i].inForce(at)
		if v == nil {
			continue
		}
		wear, counts := b.wearOf[v.is.PlanID]
		if !counts {
			continue
		}
		l := v.is.Lying
		l.Wear = wear
		if back := b.retrievals.find(l.DeploymentID); back >= 0 {
			if ended := b.retrievals.list[back].inForce(at); ended != nil {
				l.Until = &ended.is.ended
			}
		}
		for _, gear := range v.is.gear {
			if g := f.found(gear); g != nil && wears(g.Item.Kind) {
				g.Lain = append(g.Lain, l)
			}
		}
	}
}

// readPlan reads a plan and whose it is. Outfits that are written alike are read once.
func (f *fleetAssembly) readPlan(rows pgx.Rows) (vessel uuid.UUID, plan *readiness.Plan, err error) {
	var outfit raw
	plan = &readiness.Plan{}
	if err := scanStormPlan(rows, &vessel, plan, &outfit); err != nil {
		return vessel, nil, err
	}
	lines, known := f.outfits[string(outfit)]
	if !known {
		lines = linesOf(string(outfit))
		f.outfits[string(outfit)] = lines
	}
	plan.Outfit = lines
	plan.Intent = planner.Intent(once(string(plan.Intent)))
	for _, word := range []*string{&plan.Engine, &plan.CanopyVerdict, &plan.RodeVerdict, &plan.Part} {
		*word = once(*word)
	}
	return vessel, plan, nil
}

// once gives the one copy there is of a word that many plans have.
func once(word string) string { return unique.Make(word).Value() }
