package store

import (
	"context"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
	"rideout/service/fleet"
	"rideout/service/planner"
	"rideout/service/readiness"
)

// FleetStates reads what is recorded of all vessels, in one walk over each kind instead of one for each thing, from
// indexes alone: the columns happened_at and gist hold what the rules look at. What only the sentences of a report
// tell is left out, such as serial numbers.
func (r *reader) FleetStates(ctx context.Context, at service.AsOf, storm fleet.DesignStorm) ([]readiness.State, error) {
	windKt, hsM := readiness.Reaches(storm)
	f := &fleetAssembly{vessel: map[uuid.UUID]int{}, gear: map[uuid.UUID]place{}, parts: map[string]part{}, outfits: map[string][]string{}}
	args := pgx.NamedArgs{
		"org": r.org, "valid_at": at.ValidAt, "known_at": at.KnownAt, "none": readiness.NoDrill,
		"storm": planner.RideOutStorm, "wind_kt": windKt, "hs_m": hsM,
	}
	for _, read := range []struct {
		sql  string
		take func(pgx.Rows) error
	}{
		{selectFleetVessels, f.takeVessel},
		{selectFleetGear, f.takeGear},
		{selectLongFigures, f.takeFigures},
		{selectFleetInspections, f.takeInspection},
		{selectEarlierChafe, f.takeChafe},
		{selectFleetDrills, f.takeDrill},
		{selectFleetIncidents, f.takeIncident},
		{selectStormPlans, f.takePlan},
	} {
		if err := r.each(ctx, read.sql, f.with(args), read.take); err != nil {
			return nil, err
		}
	}
	return f.states, nil
}

// each runs over the rows of a statement.
func (r *reader) each(ctx context.Context, sql string, args pgx.NamedArgs, take func(pgx.Rows) error) error {
	rows, err := r.tx.Query(ctx, sql, args)
	if err != nil {
		return unavailable(ctx, err)
	}
	defer rows.Close()
	for rows.Next() {
		if err := take(rows); err != nil {
			return err
		}
	}
	return unavailable(ctx, rows.Err())
}

// fleetAssembly puts rows where they belong. Figures and outfits that are written alike are read once.
type fleetAssembly struct {
	states  []readiness.State
	vessel  map[uuid.UUID]int
	gear    map[uuid.UUID]place
	parts   map[string]part
	outfits map[string][]string

	vessels  []uuid.UUID
	long     []uuid.UUID // gear whose figures are not in the gist
	unchafed []uuid.UUID // rodes whose last inspection measured no chafe
}

// place is where a piece of gear stands in the states.
type place struct{ vessel, item int }

func (f *fleetAssembly) at(p place) *readiness.Gear { return &f.states[p.vessel].Gear[p.item] }

// with adds to the arguments what the statements before have found.
func (f *fleetAssembly) with(args pgx.NamedArgs) pgx.NamedArgs {
	args["vessels"], args["long"], args["unchafed"] = f.vessels, f.long, f.unchafed
	return args
}

const selectFleetVessels = `
SELECT DISTINCT ON (id) id, valid_from, gist
FROM records
WHERE org_id = @org AND kind = 'vessel' AND valid_from <= @valid_at AND recorded_at <= @known_at
ORDER BY id, valid_from DESC, seq DESC`

func (f *fleetAssembly) takeVessel(rows pgx.Rows) error {
	var s readiness.State
	var gist string
	if err := rows.Scan(&s.ID, &s.Since, &gist); err != nil {
		return err
	}
	words := strings.SplitN(gist, "|", 3)
	if len(words) != 3 {
		return fmt.Errorf("gist of vessel %s: %q", s.ID, gist)
	}
	s.Vessel.Status, s.Vessel.DesignCategory, s.Vessel.Name = words[0], words[1], words[2]
	f.vessel[s.ID], f.states, f.vessels = len(f.states), append(f.states, s), append(f.vessels, s.ID)
	return nil
}

const selectFleetGear = `
SELECT DISTINCT ON (id) id, vessel_id, valid_from, gist
FROM records
WHERE org_id = @org AND kind = 'gear' AND valid_from <= @valid_at AND recorded_at <= @known_at
ORDER BY id, valid_from DESC, seq DESC`

func (f *fleetAssembly) takeGear(rows pgx.Rows) error {
	var g readiness.Gear
	var vessel uuid.NullUUID
	var gist string
	if err := rows.Scan(&g.ID, &vessel, &g.Since, &gist); err != nil {
		return err
	}
	owner, hers := f.vessel[vessel.UUID]
	if !vessel.Valid || !hers {
		return nil
	}
	if err := f.readGear(&g, gist); err != nil {
		return fmt.Errorf("gist of gear item %s: %q: %w", g.ID, gist, err)
	}
	s := &f.states[owner]
	f.gear[g.ID] = place{owner, len(s.Gear)}
	s.Gear = append(s.Gear, g)
	return nil
}

func (f *fleetAssembly) readGear(g *readiness.Gear, gist string) error {
	words := strings.SplitN(gist, "|", 8)
	if len(words) != 8 {
		return fmt.Errorf("%d words, want 8", len(words))
	}
	figures := words[7]
	if figures == "?" {
		f.long = append(f.long, g.ID)
		figures = ""
	}
	p, err := f.partOf(words[0], figures)
	if err != nil {
		return err
	}
	item := p.item
	item.Spare, item.FirstUsedOn, item.MadeOn = words[1] == "true", fleet.Date(words[3]), fleet.Date(words[4])
	if item.RetiredAt, err = timeOrNone(words[2]); err != nil {
		return err
	}
	if item.StormHours, err = numberOrNone(words[5]); err != nil {
		return err
	}
	if item.FatigueShare, err = numberOrNone(words[6]); err != nil {
		return err
	}
	g.Item = item
	if words[7] != "?" {
		g.Lines = p.lines
	}
	return nil
}

// part is a kind of gear with its figures, and as it stands in an outfit.
type part struct {
	item  fleet.GearItem
	lines []string
}

func (f *fleetAssembly) partOf(kind, figures string) (part, error) {
	key := kind + "|" + figures
	p, known := f.parts[key]
	if known {
		return p, nil
	}
	p.item.Kind = kind
	if figures != "" {
		if err := json.Unmarshal([]byte(`{"`+kind+`":`+figures+`}`), &p.item); err != nil {
			return p, err
		}
	}
	p.lines = readiness.LinesOf(p.item)
	f.parts[key] = p
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
	if p, hers := f.gear[id]; hers {
		if err := json.Unmarshal(body, &f.at(p).Item); err != nil {
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
	var under uuid.UUID
	var last readiness.Inspection
	var gist string
	if err := rows.Scan(&under, &last.ID, &last.At, &gist); err != nil {
		return err
	}
	p, hers := f.gear[under]
	if !hers {
		return nil
	}
	g := f.at(p)
	verdict, chafed, _ := strings.Cut(gist, "|")
	last.Verdict = verdict
	g.Inspection = &last
	switch {
	case g.Item.Kind != "rode": // of no other is chafe judged
	case chafed == "":
		f.unchafed = append(f.unchafed, under)
	default:
		share, err := strconv.ParseFloat(chafed, 64)
		if err != nil {
			return fmt.Errorf("gist of inspection %s: %q", last.ID, gist)
		}
		g.Chafe = &readiness.Chafe{InspectionID: last.ID, At: last.At, Share: share}
	}
	return nil
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
	if err := rows.Scan(&under, &c.InspectionID, &c.At, &gist); err != nil {
		return err
	}
	_, chafed, _ := strings.Cut(gist, "|")
	share, err := strconv.ParseFloat(chafed, 64)
	if err != nil {
		return fmt.Errorf("gist of inspection %s: %q", c.InspectionID, gist)
	}
	c.Share = share
	f.at(f.gear[under]).Chafe = &c
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
	var vessel uuid.UUID
	var d readiness.Drill
	if err := rows.Scan(&vessel, &d.ID, &d.At); err != nil {
		return err
	}
	if i, there := f.vessel[vessel]; there {
		f.states[i].Drill = &d
	}
	return nil
}

const selectFleetIncidents = `
SELECT DISTINCT ON (id) id, vessel_id, happened_at, gist
FROM records
WHERE org_id = @org AND kind = 'incident' AND valid_from <= @valid_at AND recorded_at <= @known_at
ORDER BY id, valid_from DESC, seq DESC`

func (f *fleetAssembly) takeIncident(rows pgx.Rows) error {
	var i readiness.Incident
	var vessel uuid.NullUUID
	var gist string
	if err := rows.Scan(&i.ID, &vessel, &i.OccurredAt, &gist); err != nil {
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
	if at, there := f.vessel[vessel.UUID]; there {
		f.states[at].Incidents = append(f.states[at].Incidents, i)
	}
	return nil
}

func (f *fleetAssembly) takePlan(rows pgx.Rows) error {
	p, vessel, outfit, err := scanStormPlan(rows)
	if err != nil {
		return err
	}
	lines, known := f.outfits[outfit]
	if !known {
		lines = linesOf(outfit)
		f.outfits[outfit] = lines
	}
	p.Outfit = lines
	f.states[f.vessel[vessel]].Plan = &p
	return nil
}
