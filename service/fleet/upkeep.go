package fleet

import (
	"time"

	"github.com/google/uuid"

	"rideout/service/planner"
)

// Inspection is what was found on a piece of gear.
type Inspection struct {
	GearID      uuid.UUID    `json:"gear_id"`
	InspectedAt time.Time    `json:"inspected_at"`
	Inspector   string       `json:"inspector"` // a role or initials
	Findings    string       `json:"findings,omitempty"`
	ChafedShare *float64     `json:"chafed_share,omitempty"` // of the section, worn through at the worst place
	Photographs []Photograph `json:"photographs,omitempty"`
	Verdict     string       `json:"verdict"` // fit, watch, repair, retire
}

// Photograph is a picture kept elsewhere, and the hash by which it is known again.
type Photograph struct {
	Link   string `json:"link"`
	SHA256 string `json:"sha256"`
	Shows  string `json:"shows,omitempty"`
}

// Settle writes times in UTC.
func (i *Inspection) Settle() { inUTC(&i.InspectedAt) }

// Check checks what no schema sees.
func (i *Inspection) Check(now time.Time) []planner.Problem {
	c := checker{now: now}
	c.happened("/inspected_at", i.InspectedAt)
	return c.problems
}

// Refs are none but the gear it belongs to.
func (i *Inspection) Refs() []Ref { return nil }

// Vessel is none: the gear moves, the inspection stays with the gear.
func (i *Inspection) Vessel() uuid.UUID { return uuid.Nil }

// PutUnder tells which gear was inspected.
func (i *Inspection) PutUnder(id uuid.UUID) { i.GearID = id }

// At is when it was inspected.
func (i *Inspection) At() time.Time { return i.InspectedAt }

// Drill is one practice of a crew.
type Drill struct {
	VesselID    uuid.UUID `json:"vessel_id"`
	HeldAt      time.Time `json:"held_at"`
	Kind        string    `json:"kind"` // briefing, rigging, deployment, retrieval, full
	CrewCount   int       `json:"crew_count"`
	Persons     []Person  `json:"persons,omitempty"`
	DurationMin *float64  `json:"duration_min,omitempty"`
	Note        string    `json:"note,omitempty"`
}

// Settle writes times in UTC.
func (d *Drill) Settle() { inUTC(&d.HeldAt) }

// Check checks what no schema sees.
func (d *Drill) Check(now time.Time) []planner.Problem {
	c := checker{now: now}
	c.happened("/held_at", d.HeldAt)
	return append(c.problems, checkPeople(d.Persons)...)
}

// Refs are none but the vessel it belongs to.
func (d *Drill) Refs() []Ref { return nil }

// Vessel is where it was held.
func (d *Drill) Vessel() uuid.UUID { return d.VesselID }

// PutUnder tells where it was held.
func (d *Drill) PutUnder(id uuid.UUID) { d.VesselID = id }

// At is when it was held.
func (d *Drill) At() time.Time { return d.HeldAt }
