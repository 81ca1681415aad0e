package fleet

import (
	"math"
	"time"

	"github.com/google/uuid"

	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
	"rideout/service/planner"
)

// Deployment is one use of the sea anchor under a plan.
type Deployment struct {
	PlanID            uuid.UUID         `json:"plan_id"`
	VesselID          *uuid.UUID        `json:"vessel_id,omitempty"` // nil: the plan's, if it has one
	DeployedAt        time.Time         `json:"deployed_at"`
	Position          *planner.Position `json:"position,omitempty"`
	RodeOutM          *float64          `json:"rode_out_m,omitempty"`
	HeadingOffWindDeg *float64          `json:"heading_off_wind_deg,omitempty"`
	HeadingDeg        *float64          `json:"heading_deg,omitempty"`
	Canopy            *Canopy           `json:"canopy,omitempty"`
	GearIDs           []uuid.UUID       `json:"gear_ids,omitempty"`
	WindSpeedKt       *float64          `json:"wind_speed_kt,omitempty"`
	WaveHeightM       *float64          `json:"significant_wave_height_m,omitempty"`
	Note              string            `json:"note,omitempty"`
}

// Settle writes times in UTC.
func (d *Deployment) Settle() { inUTC(&d.DeployedAt) }

// Check checks what no schema sees.
func (d *Deployment) Check(now time.Time) []planner.Problem {
	c := checker{now: now}
	c.happened("/deployed_at", d.DeployedAt)
	return c.problems
}

// Refs are the vessel and the gear.
func (d *Deployment) Refs() []Ref {
	return append(refsOf(KindVessel, "/vessel_id", d.VesselID), gearRefs(d.GearIDs)...)
}

// Vessel is whose it was.
func (d *Deployment) Vessel() uuid.UUID { return orNil(d.VesselID) }

// PutUnder tells the plan it followed.
func (d *Deployment) PutUnder(id uuid.UUID) { d.PlanID = id }

// At is when it was deployed.
func (d *Deployment) At() time.Time { return d.DeployedAt }

// Fix is a position at a time.
type Fix struct {
	Time         time.Time `json:"time"`
	LatitudeDeg  float64   `json:"latitude_deg"`
	LongitudeDeg float64   `json:"longitude_deg"`
}

// Drift is the way made good between two fixes, over the ground, along the geodesic of WGS 84.
type Drift struct {
	SpeedKt   float64 `json:"speed_kt"`
	TowardDeg float64 `json:"toward_deg"`
	DistanceM float64 `json:"distance_m"`
}

// Observation is what was seen while lying to the sea anchor.
type Observation struct {
	DeploymentID      uuid.UUID `json:"deployment_id"`
	ObservedAt        time.Time `json:"observed_at"`
	FromFix           *Fix      `json:"from_fix,omitempty"`
	ToFix             *Fix      `json:"to_fix,omitempty"`
	Drift             *Drift    `json:"drift,omitempty"`
	LoadN             *float64  `json:"load_n,omitempty"`
	LoadOverMin       *float64  `json:"load_over_min,omitempty"` // minutes it is the mean of; nil: a single reading
	HeadingDeg        *float64  `json:"heading_deg,omitempty"`
	HeadingOffWindDeg *float64  `json:"heading_off_wind_deg,omitempty"`
	YawDeg            *float64  `json:"yaw_deg,omitempty"`
	WindSpeedKt       *float64  `json:"wind_speed_kt,omitempty"`
	WaveHeightM       *float64  `json:"significant_wave_height_m,omitempty"`
	ChafedShare       *float64  `json:"chafed_share,omitempty"`
	Note              string    `json:"note,omitempty"`
}

// Settle works out the drift from the two fixes.
func (o *Observation) Settle() {
	inUTC(&o.ObservedAt)
	o.Drift = nil
	if o.FromFix == nil || o.ToFix == nil {
		return
	}
	inUTC(&o.FromFix.Time, &o.ToFix.Time)
	o.Drift = driftBetween(*o.FromFix, *o.ToFix)
}

// driftBetween is nil where the fixes give none; Check says why.
func driftBetween(from, to Fix) *Drift {
	took := to.Time.Sub(from.Time).Seconds()
	a, errA := geo.At(from.LatitudeDeg, from.LongitudeDeg)
	b, errB := geo.At(to.LatitudeDeg, to.LongitudeDeg)
	if errA != nil || errB != nil || took <= 0 {
		return nil
	}
	way, err := geo.Inverse(a, b)
	if err != nil {
		return nil
	}
	return &Drift{
		SpeedKt:   round(quantity.Knots(way.DistanceM/took), 100),
		TowardDeg: math.Mod(math.Round((way.Initial.Degrees()+360)*10), 3600) / 10,
		DistanceM: round(way.DistanceM, 1),
	}
}

func round(v, per float64) float64 { return math.Round(v*per) / per }

// Drift faster than this is a slip in a fix: nothing drifts so on a sea anchor.
const mostDriftKt = 15

// Check checks that the fixes make a pair and that something was seen.
func (o *Observation) Check(now time.Time) []planner.Problem {
	c := checker{now: now}
	c.happened("/observed_at", o.ObservedAt)
	switch {
	case o.FromFix == nil && o.ToFix != nil:
		c.add("/from_fix", "is missing", "send both fixes; the drift is worked out from them")
	case o.FromFix != nil && o.ToFix == nil:
		c.add("/to_fix", "is missing", "send both fixes; the drift is worked out from them")
	case o.FromFix != nil:
		c.happened("/from_fix/time", o.FromFix.Time)
		c.happened("/to_fix/time", o.ToFix.Time)
		if !o.ToFix.Time.After(o.FromFix.Time) {
			c.add("/to_fix/time", "does not lie after the first fix's", "send the earlier fix as from_fix")
		} else if o.Drift != nil && o.Drift.SpeedKt > mostDriftKt {
			c.add("/to_fix", "lies too far away to have drifted there", "correct a position or a time")
		}
	}
	if o.LoadN == nil && o.LoadOverMin != nil {
		c.add("/load_n", "is missing", "send the load that is the mean of these minutes, or leave them out")
	}
	if o.FromFix == nil && o.ToFix == nil && o.LoadN == nil && o.HeadingDeg == nil && o.HeadingOffWindDeg == nil && o.YawDeg == nil &&
		o.WindSpeedKt == nil && o.WaveHeightM == nil && o.ChafedShare == nil && o.Note == "" {
		c.add("", "nothing was observed", "send fixes, load, heading, yaw, wind, sea, chafe or a note")
	}
	return c.problems
}

// Refs are none but the deployment it belongs to.
func (o *Observation) Refs() []Ref { return nil }

// Vessel is none: the deployment's is.
func (o *Observation) Vessel() uuid.UUID { return uuid.Nil }

// PutUnder tells the deployment.
func (o *Observation) PutUnder(id uuid.UUID) { o.DeploymentID = id }

// At is when it was seen.
func (o *Observation) At() time.Time { return o.ObservedAt }

// Retrieval is how the gear came back, or that it did not.
type Retrieval struct {
	DeploymentID uuid.UUID `json:"deployment_id"`
	BegunAt      time.Time `json:"begun_at"`
	EndedAt      time.Time `json:"ended_at"`
	Method       string    `json:"method"` // trip_line, motored_up, hauled, cut_away, parted
	TripLineUsed bool      `json:"trip_line_used"`
	Damage       string    `json:"damage,omitempty"`
	Note         string    `json:"note,omitempty"`
}

// Settle writes times in UTC.
func (r *Retrieval) Settle() { inUTC(&r.BegunAt, &r.EndedAt) }

// Check checks that it ends after it began.
func (r *Retrieval) Check(now time.Time) []planner.Problem {
	c := checker{now: now}
	c.happened("/begun_at", r.BegunAt)
	c.happened("/ended_at", r.EndedAt)
	c.ordered("/ended_at", r.BegunAt, r.EndedAt)
	if r.Method == "trip_line" && !r.TripLineUsed {
		c.add("/trip_line_used", "is false, but the method is trip_line", "correct one of the two")
	}
	return c.problems
}

// Refs are none but the deployment it belongs to.
func (r *Retrieval) Refs() []Ref { return nil }

// Vessel is none: the deployment's is.
func (r *Retrieval) Vessel() uuid.UUID { return uuid.Nil }

// PutUnder tells the deployment.
func (r *Retrieval) PutUnder(id uuid.UUID) { r.DeploymentID = id }

// At is when it began.
func (r *Retrieval) At() time.Time { return r.BegunAt }

// Incident is a note of what went wrong, or nearly did, and what was learned.
type Incident struct {
	lasting
	VesselID     *uuid.UUID        `json:"vessel_id,omitempty"`
	PlanID       *uuid.UUID        `json:"plan_id,omitempty"`
	DeploymentID *uuid.UUID        `json:"deployment_id,omitempty"`
	GearIDs      []uuid.UUID       `json:"gear_ids,omitempty"`
	OccurredAt   time.Time         `json:"occurred_at"`
	Position     *planner.Position `json:"position,omitempty"`
	Kind         string            `json:"kind"`
	Severity     string            `json:"severity"` // near_miss, minor, serious, very_serious
	Injured      int               `json:"injured,omitempty"`
	Dead         int               `json:"dead,omitempty"`
	Persons      []Person          `json:"persons,omitempty"`
	Happened     string            `json:"what_happened"`
	Learned      string            `json:"what_was_learned,omitempty"`

	GroundsVessel *bool      `json:"grounds_vessel,omitempty"` // nil: as the severity says; see Grounds
	ClosedAt      *time.Time `json:"closed_at,omitempty"`      // nil: open
	ClosedHow     string     `json:"closed_how,omitempty"`
}

// Grounds tells whether it keeps the vessel in port at a time: it is open, and it says so or, where it does not say,
// it is serious or very serious.
func (i *Incident) Grounds(at time.Time) bool {
	if i.ClosedAt != nil && !i.ClosedAt.After(at) {
		return false
	}
	if i.GroundsVessel != nil {
		return *i.GroundsVessel
	}
	return i.Severity == "serious" || i.Severity == "very_serious"
}

// Settle writes times in UTC.
func (i *Incident) Settle() { inUTC(&i.OccurredAt, i.ClosedAt) }

// Check checks that the severity fits the harm.
func (i *Incident) Check(now time.Time) []planner.Problem {
	c := checker{now: now}
	c.happened("/occurred_at", i.OccurredAt)
	switch {
	case i.Dead > 0 && i.Severity != "very_serious":
		c.add("/severity", "somebody died", "send very_serious")
	case i.Injured > 0 && i.Severity == "near_miss":
		c.add("/severity", "somebody was injured, so it was no near miss", "send minor, serious or very_serious")
	case i.Kind == "injury" && i.Injured+i.Dead == 0:
		c.add("/injured", "an injury without anybody injured", "send how many were, or another kind")
	}
	i.checkEnd(&c)
	return append(c.problems, checkPeople(i.Persons)...)
}

func (i *Incident) checkEnd(c *checker) {
	switch {
	case i.ClosedAt != nil:
		c.happened("/closed_at", *i.ClosedAt)
		c.ordered("/closed_at", i.OccurredAt, *i.ClosedAt)
		if i.ClosedHow == "" {
			c.add("/closed_how", "is missing", "say what was done to close it")
		}
	case i.ClosedHow != "":
		c.add("/closed_at", "is missing", "send when it was closed, or leave out how")
	}
}

// Refs are the vessel, the plan, the deployment and the gear.
func (i *Incident) Refs() []Ref {
	refs := append(refsOf(KindVessel, "/vessel_id", i.VesselID), refsOf(KindPlan, "/plan_id", i.PlanID)...)
	refs = append(refs, refsOf(KindDeployment, "/deployment_id", i.DeploymentID)...)
	return append(refs, gearRefs(i.GearIDs)...)
}

// Vessel is whose it was.
func (i *Incident) Vessel() uuid.UUID { return orNil(i.VesselID) }

// At is when it happened.
func (i *Incident) At() time.Time { return i.OccurredAt }
