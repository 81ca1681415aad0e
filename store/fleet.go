package store

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/planner"
	"rideout/service/readiness"
)

// FleetStates reads what is recorded of all vessels, in one walk over each kind instead of one for each thing, from
// indexes alone: the columns happened_at and gist hold what the rules look at. What only the sentences of a report
// tell is left out, such as serial numbers.
//
// The walks go on two connections at once. As of two times the book reads the same to both, since nothing more will be
// recorded as earlier.
func (r *reader) FleetStates(ctx context.Context, at service.AsOf, storm fleet.DesignStorm) ([]readiness.State, error) {
	windKt, hsM := readiness.Reaches(storm)
	args := pgx.NamedArgs{
		"org": r.org, "valid_at": at.ValidAt, "known_at": at.KnownAt, "none": readiness.NoDrill,
		"storm": planner.RideOutStorm, "wind_kt": windKt, "hs_m": hsM,
	}
	f := anAssembly()
	r.atEnd = append(r.atEnd, f.keep)
	// With a long history the plans cost as much as all else.
	one := []walk{
		{selectFleetVessels, f.takeVessel},
		{selectFleetIncidents, f.takeIncident},
		{selectFleetGear, f.takeGear},
		{selectFleetInspections, f.takeInspection},
		{selectFleetDrills, f.takeDrill},
		{selectFleetDeployments, f.takeDeployment},
		{selectFleetRetrievals, f.takeRetrieval},
		{selectFleetWear, f.takeWear},
	}
	other := []walk{{selectFleetPlans, f.takePlan}}
	if err := r.twoWays(ctx, one, other, args); err != nil {
		return nil, err
	}
	f.join()
	args["long"], args["unchafed"] = f.long, f.unchafed
	var rest []walk
	if len(f.long) > 0 {
		rest = append(rest, walk{selectLongFigures, f.takeFigures})
	}
	if len(f.unchafed) > 0 {
		rest = append(rest, walk{selectEarlierChafe, f.takeChafe})
	}
	if err := walkAll(ctx, r.tx, rest, args); err != nil {
		return nil, err
	}
	if !f.manyNamed {
		f.lay()
		return f.states, nil
	}
	lain, err := r.Lyings(ctx, f.worn(), at)
	for id, l := range lain {
		if g := f.find(id); g != nil {
			g.Lain = l
		}
	}
	return f.states, err
}

// walk is a statement and what is done with each of its rows.
type walk struct {
	sql  string
	take func(pgx.Rows) error
}

// twoWays does one list of walks here and the other beside it, where there is a connection to spare, or after it.
func (r *reader) twoWays(ctx context.Context, one, other []walk, args pgx.NamedArgs) error {
	if r.beside == nil {
		return walkAll(ctx, r.tx, append(one, other...), args)
	}
	done := make(chan error, 1)
	began := r.beside(ctx, func(tx pgx.Tx) error { return walkAll(ctx, tx, other, args) }, done)
	if !began {
		return walkAll(ctx, r.tx, append(one, other...), args)
	}
	err := walkAll(ctx, r.tx, one, args)
	return errors.Join(err, <-done)
}

// walkAll sends all statements at once, so that the server works on the next while the rows of one are read.
func walkAll(ctx context.Context, tx pgx.Tx, walks []walk, args pgx.NamedArgs) (err error) {
	if len(walks) == 0 {
		return nil
	}
	batch := &pgx.Batch{}
	for _, w := range walks {
		batch.Queue(w.sql, args)
	}
	answers := tx.SendBatch(ctx, batch)
	defer func() { err = errors.Join(err, unavailable(ctx, answers.Close())) }()
	for _, w := range walks {
		rows, err := answers.Query()
		if err != nil {
			return unavailable(ctx, err)
		}
		for rows.Next() {
			if err := w.take(rows); err != nil {
				rows.Close()
				return err
			}
		}
		if err := rows.Err(); err != nil {
			return unavailable(ctx, err)
		}
	}
	return nil
}

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

const selectFleetVessels = `
SELECT DISTINCT ON (id) id, valid_from, gist
FROM records
WHERE org_id = @org AND kind = 'vessel' AND valid_from <= @valid_at AND recorded_at <= @known_at
ORDER BY id, valid_from DESC, seq DESC`

func (f *fleetAssembly) takeVessel(rows pgx.Rows) error {
	s := f.next()
	var gist string
	if err := rows.Scan(bytesOf(&s.ID), &s.Since, &gist); err != nil {
		return err
	}
	status, rest, _ := strings.Cut(gist, "|")
	category, name, whole := strings.Cut(rest, "|")
	if !whole {
		return fmt.Errorf("gist of vessel %s: %q", s.ID, gist)
	}
	s.Vessel.Status, s.Vessel.DesignCategory, s.Vessel.Name = status, category, name
	f.vessel[s.ID] = len(f.states) - 1
	return nil
}

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

const selectFleetGear = `
SELECT DISTINCT ON (id) id, vessel_id, valid_from, gist
FROM records
WHERE org_id = @org AND kind = 'gear' AND valid_from <= @valid_at AND recorded_at <= @known_at
ORDER BY id, valid_from DESC, seq DESC`

func (f *fleetAssembly) takeGear(rows pgx.Rows) error {
	g, vessel, gist := &f.row.gear, &f.row.owner, &f.row.gist
	if err := rows.Scan(bytesOf(&g.ID), vessel, &g.Since, gist); err != nil {
		return err
	}
	owner, hers := f.vessel[vessel.Bytes]
	if !vessel.Valid || !hers {
		return nil
	}
	p, known := f.parts[string(*gist)]
	if !known {
		var err error
		if p, err = f.partOf(*gist); err != nil {
			return fmt.Errorf("gist of gear item %s: %q: %w", g.ID, *gist, err)
		}
		f.parts[string(*gist)] = p
	}
	if g.Item, g.Lines = p.item, p.lines; p.long {
		f.long = append(f.long, g.ID)
	}
	s := &f.states[owner]
	f.gear = append(f.gear, pieceOf{g.ID, place{owner, len(s.Gear)}})
	s.Gear = append(s.Gear, *g)
	return nil
}

// part is a piece of gear by its gist, and as it stands in an outfit.
type part struct {
	item  *fleet.GearItem
	lines []string
	long  bool // the figures are not in the gist
}

var bar = []byte("|")

func (f *fleetAssembly) partOf(gist []byte) (p part, err error) {
	words := bytes.SplitN(gist, bar, 8)
	if len(words) != 8 {
		return p, fmt.Errorf("%d words, want 8", len(words))
	}
	figured, err := f.figured(string(words[0]), string(words[7]))
	if err != nil {
		return p, err
	}
	item := *figured.item
	item.Spare, item.FirstUsedOn, item.MadeOn = string(words[1]) == "true", fleet.Date(words[3]), fleet.Date(words[4])
	if item.RetiredAt, err = timeOrNone(string(words[2])); err != nil {
		return p, err
	}
	if item.StormHours, err = numberOrNone(string(words[5])); err != nil {
		return p, err
	}
	if item.FatigueShare, err = numberOrNone(string(words[6])); err != nil {
		return p, err
	}
	return part{&item, figured.lines, figured.long}, nil
}

// figured is a kind of gear with its figures and nothing else.
func (f *fleetAssembly) figured(kind, figures string) (part, error) {
	key := kind + ":" + figures
	p, known := f.figures[key]
	if known {
		return p, nil
	}
	p = part{item: &fleet.GearItem{Kind: kind}, long: figures == "?"}
	if !p.long {
		if figures != "" {
			if err := json.Unmarshal([]byte(`{"`+kind+`":`+figures+`}`), p.item); err != nil {
				return p, err
			}
		}
		p.lines = readiness.LinesOf(*p.item)
	}
	f.figures[key] = p
	return p, nil
}

func timeOrNone(text string) (*time.Time, error) {
	if text == "" {
		return nil, nil
	}
	at, err := time.Parse(time.RFC3339Nano, text)
	return &at, err
}

func numberOrNone(text string) (float64, error) {
	if text == "" {
		return 0, nil
	}
	return strconv.ParseFloat(text, 64)
}

// Gear with figures longer than a gist takes, of which there is hardly any.
const selectLongFigures = `
SELECT DISTINCT ON (id) id, body
FROM records
WHERE org_id = @org AND kind = 'gear' AND id = ANY(@long::uuid[]) AND valid_from <= @valid_at AND recorded_at <= @known_at
ORDER BY id, valid_from DESC, seq DESC`

func (f *fleetAssembly) takeFigures(rows pgx.Rows) error {
	var id uuid.UUID
	var body []byte
	if err := rows.Scan(&id, &body); err != nil {
		return err
	}
	if g := f.find(id); g != nil {
		g.Item = &fleet.GearItem{}
		if err := json.Unmarshal(body, g.Item); err != nil {
			return fmt.Errorf("read gear item %s: %w", id, err)
		}
	}
	return nil
}

const selectFleetInspections = `
SELECT DISTINCT ON (under) under, id, happened_at, gist
FROM (
    SELECT DISTINCT ON (under, id) under, id, happened_at, gist
    FROM records
    WHERE org_id = @org AND kind = 'inspection' AND under IS NOT NULL AND valid_from <= @valid_at AND recorded_at <= @known_at
    ORDER BY under, id DESC, valid_from DESC, seq DESC
) v
ORDER BY under, happened_at DESC, id DESC`

func (f *fleetAssembly) takeInspection(rows pgx.Rows) error {
	f.inspections = append(f.inspections, inspectionOf{})
	i, gist := &f.inspections[len(f.inspections)-1], &f.row.found
	if err := rows.Scan(bytesOf(&i.gear), bytesOf(&i.last.ID), &i.last.At, gist); err != nil {
		return err
	}
	verdict, chafed, _ := bytes.Cut(*gist, bar)
	i.last.Verdict = verdictWord(verdict)
	if len(chafed) > 0 {
		share, err := strconv.ParseFloat(string(chafed), 64)
		if err != nil {
			return fmt.Errorf("gist of inspection %s: %q", i.last.ID, *gist)
		}
		i.chafe = &readiness.Chafe{InspectionID: i.last.ID, At: i.last.At, Share: share}
	}
	return nil
}

// verdictWord takes the word nearly all inspections end in from the program, not from the row.
func verdictWord(b []byte) string {
	if string(b) == "fit" {
		return "fit"
	}
	return string(b)
}

// Of rodes, the last inspection that measured chafe.
const selectEarlierChafe = `
SELECT DISTINCT ON (under) under, id, happened_at, gist
FROM (
    SELECT DISTINCT ON (under, id) under, id, happened_at, gist
    FROM records
    WHERE org_id = @org AND kind = 'inspection' AND under = ANY(@unchafed::uuid[]) AND valid_from <= @valid_at AND recorded_at <= @known_at
    ORDER BY under, id DESC, valid_from DESC, seq DESC
) v
WHERE gist NOT LIKE '%|'
ORDER BY under, happened_at DESC, id DESC`

func (f *fleetAssembly) takeChafe(rows pgx.Rows) error {
	var under uuid.UUID
	var c readiness.Chafe
	var gist string
	if err := rows.Scan(bytesOf(&under), bytesOf(&c.InspectionID), &c.At, &gist); err != nil {
		return err
	}
	_, chafed, _ := strings.Cut(gist, "|")
	share, err := strconv.ParseFloat(chafed, 64)
	if err != nil {
		return fmt.Errorf("gist of inspection %s: %q", c.InspectionID, gist)
	}
	c.Share = share
	if g := f.find(under); g != nil {
		g.Chafe = &c
	}
	return nil
}

const selectFleetDrills = `
SELECT DISTINCT ON (under) under, id, happened_at
FROM (
    SELECT DISTINCT ON (under, id) under, id, happened_at, gist
    FROM records
    WHERE org_id = @org AND kind = 'drill' AND under IS NOT NULL AND valid_from <= @valid_at AND recorded_at <= @known_at
    ORDER BY under, id DESC, valid_from DESC, seq DESC
) v
WHERE gist <> ALL(@none)
ORDER BY under, happened_at DESC, id DESC`

func (f *fleetAssembly) takeDrill(rows pgx.Rows) error {
	var d drillOf
	if err := rows.Scan(bytesOf(&d.vessel), bytesOf(&d.last.ID), &d.last.At); err != nil {
		return err
	}
	f.drills = append(f.drills, d)
	return nil
}

const selectFleetIncidents = `
SELECT DISTINCT ON (id) id, vessel_id, happened_at, gist
FROM records
WHERE org_id = @org AND kind = 'incident' AND valid_from <= @valid_at AND recorded_at <= @known_at
ORDER BY id, valid_from DESC, seq DESC`

func (f *fleetAssembly) takeIncident(rows pgx.Rows) error {
	var i readiness.Incident
	var vessel pgtype.UUID
	var gist string
	if err := rows.Scan(bytesOf(&i.ID), &vessel, &i.OccurredAt, &gist); err != nil {
		return err
	}
	words := strings.Split(gist, "|")
	if len(words) != 3 {
		return fmt.Errorf("gist of incident %s: %q", i.ID, gist)
	}
	i.Severity = words[0]
	if words[1] != "" {
		grounds := words[1] == "true"
		i.GroundsVessel = &grounds
	}
	var err error
	if i.ClosedAt, err = timeOrNone(words[2]); err != nil {
		return fmt.Errorf("gist of incident %s: %w", i.ID, err)
	}
	if at, there := f.vessel[vessel.Bytes]; there && vessel.Valid {
		f.states[at].Incidents = append(f.states[at].Incidents, i)
	}
	return nil
}

func (f *fleetAssembly) takePlan(rows pgx.Rows) error {
	var p planOf
	var outfit raw
	if err := scanStormPlan(rows, &p.vessel, &p.plan, &outfit); err != nil {
		return err
	}
	lines, known := f.outfits[string(outfit)]
	if !known {
		lines = linesOf(string(outfit))
		f.outfits[string(outfit)] = lines
	}
	p.plan.Outfit = lines
	f.plans = append(f.plans, p)
	return nil
}
