package readiness

import (
	"iter"
	"math"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
	"rideout/service/physics/hardware"
	"rideout/service/planner"
)

// State is what is recorded of a vessel, as of two times.
type State struct {
	ID        uuid.UUID
	Vessel    fleet.Vessel
	Since     time.Time // from when on this version of her holds
	FirstSeen time.Time // from when on she is recorded at all
	Gear      []Gear    // hers, retired or not, in the order it was registered
	Drill     *Drill    // the last that counts
	Incidents []Incident
	Plan      *Plan // the one that answers for the design storm, if there is any for a storm
}

// Gear is one piece of gear and what was last found on it.
type Gear struct {
	ID         uuid.UUID
	Item       *fleet.GearItem // never changed: pieces alike may share one
	Since      time.Time       // from when on this version of it holds
	FirstSeen  time.Time
	Inspection *Inspection   // the last
	Chafe      *Chafe        // measured last
	Lain       []fleet.Lying // the deployments that name it, of rodes and canopies
	Lines      []string      // the Item as LinesOf writes it; nil: to be written
}

// Inspection is the gist of one.
type Inspection struct {
	ID      uuid.UUID
	At      time.Time
	Verdict string // fit, watch, repair, retire
}

// Chafe is a share of the section found worn through.
type Chafe struct {
	InspectionID uuid.UUID
	At           time.Time
	Share        float64
}

// Drill is the gist of one.
type Drill struct {
	ID uuid.UUID
	At time.Time
}

// NoDrill lists the kinds of practice that do not count as a drill: those without the gear in hand. Our choice.
var NoDrill = []string{"briefing"}

// Incident is a note of one.
type Incident struct {
	ID uuid.UUID
	fleet.Incident
}

// Plan is what readiness needs to know of a plan. It is kept beside the plan when that is made, so that no plan is
// read for it.
type Plan struct {
	ID            uuid.UUID
	MadeAt        time.Time
	Intent        planner.Intent
	Engine        string
	WindKt        float64 // the strongest in any phase, as the plan prints it
	HsM           float64 // of the same phase
	CanopyVerdict string
	RodeVerdict   string
	Part          string // the one used most
	Use           float64
	UseHigh       float64 // at the high end of the load; 0: not known, in plans kept before it was
	PartVerdict   hardware.Verdict
	Outfit        []string   // what it was made for; see Outfit
	SupersededAt  *time.Time // when another took its place; nil: it stands
}

// PlanOf takes from a plan and its request what readiness needs. ID and MadeAt are the caller's to give.
func PlanOf(p planner.Plan, r planner.Request) Plan {
	kept := Plan{
		Intent: p.Intent, Engine: p.Engine, CanopyVerdict: p.Canopy.Verdict, RodeVerdict: p.Rode.Verdict, Outfit: Outfit(r.Gear),
	}
	for _, phase := range p.Phases {
		if phase.WindKt > kept.WindKt || phase.WindKt == kept.WindKt && phase.HsM > kept.HsM {
			kept.WindKt, kept.HsM = phase.WindKt, phase.HsM
		}
	}
	for _, part := range p.Hardware {
		if part.Governing {
			kept.Part, kept.Use, kept.PartVerdict = part.Part, part.Use, hardware.Verdict(part.Verdict)
			kept.UseHigh = useAtHighEnd(part, p.Phases)
		}
	}
	return kept
}

// useAtHighEnd is what a part would bear of its capacity at the greatest high end of any phase. Its demand is of the greatest
// middle, and grows with the load, whatever its share of it: a leg of a bridle bears less than the rode. 0: not known.
func useAtHighEnd(part planner.Part, phases []planner.Phase) float64 {
	mid, high := 0.0, 0.0
	for _, phase := range phases {
		mid, high = math.Max(mid, phase.Loads.PeakN.Mid), math.Max(high, phase.Loads.PeakN.High)
	}
	if mid <= 0 || part.CapacityN <= 0 {
		return 0
	}
	return part.DemandN / part.CapacityN * high / mid
}

// Half of the last digit a plan prints: so much may be missing from a figure that reaches a limit.
const (
	windSlackKt = 0.05
	hsSlackM    = 0.005
)

// Reaches gives the wind (kt) and sea (m) a plan must print to answer for the policy's design storm: as much wind and as
// high a sea, both in one phase, the one with the strongest wind. The parts are judged against the worst of all phases, so
// they answer for that one. The storm's period is not held against the plan's.
func Reaches(storm fleet.DesignStorm) (windKt, hsM float64) {
	return storm.WindSpeedKt - windSlackKt, storm.HsM - hsSlackM
}

func (p Plan) reaches(storm fleet.DesignStorm) bool {
	windKt, hsM := Reaches(storm)
	return p.WindKt >= windKt && p.HsM >= hsM
}

// circumstances is what a rule sees.
type circumstances struct {
	*State
	policy *fleet.Policy
	at     time.Time
	usual  Weather

	used struct { // asked last
		of  *Gear
		use fleet.Use
	}
}

// standing is the plan that answers for the design storm; nil: there is none, which the rules of its being there tell.
func (c *circumstances) standing() *Plan {
	if c.Plan == nil || c.Plan.SupersededAt != nil || !c.Plan.reaches(c.policy.DesignStorm) {
		return nil
	}
	return c.Plan
}

// aboard gives the gear of a kind that has not been retired; rigged leaves out spares.
func (c *circumstances) aboard(kind string, rigged bool) iter.Seq[*Gear] {
	return func(yield func(*Gear) bool) {
		for i := range c.Gear {
			g := &c.Gear[i]
			gone := g.Item.RetiredAt != nil && !g.Item.RetiredAt.After(c.at)
			if g.Item.Kind == kind && !gone && !(rigged && g.Item.Spare) && !yield(g) {
				return
			}
		}
	}
}
