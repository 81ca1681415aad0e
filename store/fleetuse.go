package store

import (
	"bytes"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"rideout/service/fleet"
)

// lyingOf is a deployment and the gear it names.
type lyingOf struct {
	fleet.Lying
	gear []uuid.UUID
}

const selectFleetDeployments = `
SELECT DISTINCT ON (id) id, vessel_id, happened_at, gist
FROM records
WHERE org_id = @org AND kind = 'deployment' AND valid_from <= @valid_at AND recorded_at <= @known_at
ORDER BY id, valid_from DESC, seq DESC`

func (f *fleetAssembly) takeDeployment(rows pgx.Rows) error {
	var l lyingOf
	var vessel pgtype.UUID
	var gist raw
	if err := rows.Scan(bytesOf(&l.DeploymentID), &vessel, &l.From, &gist); err != nil {
		return err
	}
	plan, gear, _ := bytes.Cut(gist, bar)
	err := l.PlanID.UnmarshalText(plan)
	switch {
	case err != nil:
	case string(gear) == "?":
		f.manyNamed = true
	default:
		l.gear, err = idsIn(gear)
	}
	if err != nil {
		return fmt.Errorf("gist of deployment %s: %q: %w", l.DeploymentID, gist, err)
	}
	l.VesselID = vessel.Bytes
	f.lyings = append(f.lyings, l)
	return nil
}

// idsIn reads a JSON list of ids.
func idsIn(list []byte) (ids []uuid.UUID, err error) {
	words := bytes.Split(list, quote)
	for i := 1; i < len(words); i += 2 { // what stands between quotes
		id, err := uuid.ParseBytes(words[i])
		if err != nil {
			return nil, err
		}
		ids = append(ids, id)
	}
	return ids, nil
}

var quote = []byte(`"`)

const selectFleetRetrievals = `
SELECT DISTINCT ON (id) id, happened_at
FROM records
WHERE org_id = @org AND kind = 'retrieval' AND valid_from <= @valid_at AND recorded_at <= @known_at
ORDER BY id, valid_from DESC, seq DESC`

func (f *fleetAssembly) takeRetrieval(rows pgx.Rows) error {
	var deployment uuid.UUID
	var ended time.Time
	err := rows.Scan(bytesOf(&deployment), &ended)
	f.ended[deployment] = ended
	return err
}

// What an hour costs by each plan that was ever followed.
const selectFleetWear = `
SELECT plan_id, wear
FROM foreseen
WHERE org_id = @org`

func (f *fleetAssembly) takeWear(rows pgx.Rows) error {
	var plan uuid.UUID
	var text raw
	if err := rows.Scan(bytesOf(&plan), &text); err != nil {
		return err
	}
	wear, known := f.wears[string(text)]
	if !known {
		if err := json.Unmarshal(text, &wear); err != nil {
			return fmt.Errorf("read the wear of plan %s: %w", plan, err)
		}
		f.wears[string(text)] = wear
	}
	f.wearOf[plan] = wear
	return nil
}

// lay gives rodes and canopies the deployments they were in, in the order of their ids. A deployment counts by its plan.
func (f *fleetAssembly) lay() {
	for _, l := range f.lyings {
		wear, counts := f.wearOf[l.PlanID]
		if !counts {
			continue
		}
		l.Wear = wear
		if ended, is := f.ended[l.DeploymentID]; is {
			l.Until = &ended
		}
		for _, id := range l.gear {
			if g := f.find(id); g != nil && wears(g.Item.Kind) {
				g.Lain = append(g.Lain, l.Lying)
			}
		}
	}
}

// wears tells of which kinds of gear use is counted.
func wears(kind string) bool { return kind == "rode" || kind == "canopy" }

// worn lists the gear whose use is counted.
func (f *fleetAssembly) worn() []uuid.UUID {
	var ids []uuid.UUID
	for _, p := range f.gear {
		if wears(f.at(p.place).Item.Kind) {
			ids = append(ids, p.id)
		}
	}
	return ids
}
