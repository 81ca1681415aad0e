package store

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
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
