package store

import (
	"bytes"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgtype"

	"rideout/service/planner"
	"rideout/service/readiness"
)

// fleetAssembly puts rows where they belong. Gists and outfits that are written alike are read once.
type fleetAssembly struct {
	states  []readiness.State
	vessel  map[uuid.UUID]int
	gear    []pieceOf       // in the order of their ids, as they are read
	parts   map[string]part // by gist
	figures map[string]part // by kind and figures

	plans       []planOf
	outfits     map[string][]string
	inspections []inspectionOf
	drills      []drillOf

	lyings    []lyingOf
	manyNamed bool // a deployment names more gear than a gist takes
	ended     map[uuid.UUID]time.Time
	wears     map[string][]planner.PhaseWear // as they are written
	wearOf    map[uuid.UUID][]planner.PhaseWear

	// What rows are scanned into, so that each needs no room of its own.
	row struct {
		gear        readiness.Gear
		owner       pgtype.UUID
		gist, found raw
	}

	long     []uuid.UUID // gear whose figures are not in the gist
	unchafed []uuid.UUID // rodes whose last inspection measured no chafe
}

// assemblies keeps the room two fleets take for the next ones: it is a few megabytes, and the collector would run several
// times for each question. A sync.Pool would be emptied by the collector between two of them.
var assemblies = make(chan *fleetAssembly, 2)

func anAssembly() *fleetAssembly {
	select {
	case f := <-assemblies:
		return f
	default:
		return &fleetAssembly{
			vessel: map[uuid.UUID]int{}, parts: map[string]part{}, figures: map[string]part{}, outfits: map[string][]string{},
			ended: map[uuid.UUID]time.Time{}, wears: map[string][]planner.PhaseWear{}, wearOf: map[uuid.UUID][]planner.PhaseWear{},
		}
	}
}

// keep keeps the room, unless the fleet was so large that it would weigh on a small machine.
func (f *fleetAssembly) keep() {
	if len(f.gear) > mostGearKept {
		return
	}
	f.reset()
	select {
	case assemblies <- f:
	default:
	}
}

// The gear of the largest fleet whose room is kept, which takes about 10 MB, and how many readings of gists and the like are.
const (
	mostGearKept = 40_000
	mostKept     = 20_000
)

// reset forgets whose fleet it was. What is read in a gist is the same for all.
func (f *fleetAssembly) reset() {
	for i := range f.states {
		gear := f.states[i].Gear
		clear(gear)
		f.states[i] = readiness.State{Gear: gear[:0]}
	}
	clear(f.plans)
	clear(f.inspections)
	clear(f.drills)
	clear(f.lyings)
	f.states, f.plans, f.inspections, f.drills, f.lyings = f.states[:0], f.plans[:0], f.inspections[:0], f.drills[:0], f.lyings[:0]
	clear(f.vessel)
	f.gear = f.gear[:0]
	clear(f.ended)
	clear(f.wearOf)
	f.long, f.unchafed, f.manyNamed = nil, nil, false
	if len(f.parts)+len(f.figures)+len(f.outfits)+len(f.wears) > mostKept {
		clear(f.parts)
		clear(f.figures)
		clear(f.outfits)
		clear(f.wears)
	}
}

// What was read before it was known whose it is.
type (
	planOf struct {
		vessel uuid.UUID
		plan   readiness.Plan
	}
	inspectionOf struct {
		gear uuid.UUID
		last readiness.Inspection
		// The chafe it measured; nil: none.
		chafe *readiness.Chafe
	}
	drillOf struct {
		vessel uuid.UUID
		last   readiness.Drill
	}
)

// join gives vessels and gear what belongs to them.
func (f *fleetAssembly) join() {
	for i := range f.plans {
		if at, there := f.vessel[f.plans[i].vessel]; there {
			f.states[at].Plan = &f.plans[i].plan
		}
	}
	for i := range f.drills {
		if at, there := f.vessel[f.drills[i].vessel]; there {
			f.states[at].Drill = &f.drills[i].last
		}
	}
	rest := f.gear // both lists are in the order of the gear's ids
	for i := range f.inspections {
		id := &f.inspections[i].gear
		for len(rest) > 0 && bytes.Compare(rest[0].id[:], id[:]) < 0 {
			rest = rest[1:]
		}
		if len(rest) == 0 || rest[0].id != *id {
			continue
		}
		g := f.at(rest[0].place)
		g.Inspection, g.Chafe = &f.inspections[i].last, f.inspections[i].chafe
		if g.Chafe == nil && g.Item.Kind == "rode" { // of no other is chafe judged
			f.unchafed = append(f.unchafed, g.ID)
		}
	}
}

// place is where a piece of gear stands in the states.
type place struct{ vessel, item int }

func (f *fleetAssembly) at(p place) *readiness.Gear { return &f.states[p.vessel].Gear[p.item] }

// pieceOf is a piece of gear and where it stands.
type pieceOf struct {
	id uuid.UUID
	place
}

// find gives a piece of gear by its id; nil: it is no vessel's.
func (f *fleetAssembly) find(id uuid.UUID) *readiness.Gear {
	at, there := slices.BinarySearchFunc(f.gear, id, func(p pieceOf, id uuid.UUID) int { return bytes.Compare(p.id[:], id[:]) })
	if !there {
		return nil
	}
	return f.at(f.gear[at].place)
}

// raw is a text that is good until the next row is read.
type raw []byte

// ScanBytes implements pgtype.BytesScanner.
func (t *raw) ScanBytes(b []byte) error {
	*t = b
	return nil
}

// bytesOf lets an id be read from its bytes and not by way of its text.
func bytesOf(id *uuid.UUID) *[16]byte { return (*[16]byte)(id) }

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
