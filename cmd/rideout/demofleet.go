package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"path"

	"github.com/google/uuid"

	"rideout/service/fleet"
	"rideout/testdata/demo"
)

// readPart reads one of the demo's files.
func readPart(folder, name string, into any) error {
	text, err := demo.FS.ReadFile(path.Join(folder, name+".json"))
	if err != nil {
		return err
	}
	if err := json.Unmarshal(text, into); err != nil {
		return fmt.Errorf("%s/%s.json: %w", folder, name, err)
	}
	return nil
}

// gearOf takes a vessel's set apart into the items of the register, and puts what else is aboard beside them.
func gearOf(v historyVessel, vessel uuid.UUID) ([]*fleet.GearItem, error) {
	var set fleet.Set
	if err := readPart("gear", v.Name, &set); err != nil && !errors.Is(err, fs.ErrNotExist) { // without a file she carries none
		return nil, err
	}
	var items []*fleet.GearItem
	add := func(given bool, item fleet.GearItem) {
		if given {
			item.VesselID = &vessel
			items = append(items, &item)
		}
	}
	serial := func(mark string) string { return v.Marks + "-" + mark + "1" }
	add(set.Canopy != nil, fleet.GearItem{Kind: "canopy", Serial: serial("C"), Canopy: set.Canopy})
	add(set.Rode != nil, fleet.GearItem{Kind: "rode", Serial: serial("R"), FirstUsedOn: v.RodeUsed, StormHours: v.RodeStormHours, Rode: set.Rode})
	for _, s := range set.Shackles {
		add(true, fleet.GearItem{Kind: "shackle", Shackle: &s})
	}
	for _, s := range set.Swivels {
		add(true, fleet.GearItem{Kind: "swivel", Swivel: &s})
	}
	add(set.Chain != nil, fleet.GearItem{Kind: "chain", Chain: set.Chain})
	add(set.TripLine != nil, fleet.GearItem{Kind: "trip_line", TripLine: set.TripLine})
	add(set.Float != nil, fleet.GearItem{Kind: "float", Float: set.Float})
	add(set.Bridle != nil, fleet.GearItem{Kind: "bridle", Bridle: set.Bridle})
	add(set.SpareLine != nil, fleet.GearItem{Kind: "spare_line", SpareLine: set.SpareLine})
	add(set.ChafeGear, fleet.GearItem{Kind: "chafe_gear"})
	for _, kind := range v.Aboard {
		item := fleet.GearItem{Kind: kind}
		if kind == "bridle" { // carried in the locker, so in no plan
			item.Spare, item.Place = true, "cockpit locker"
			item.Bridle = &fleet.Bridle{Construction: "three_strand", DiameterMM: 22, LegM: 18}
		}
		add(true, item)
	}
	return items, nil
}
