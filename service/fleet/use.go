package fleet

import (
	"cmp"
	"math"
	"slices"
	"time"

	"github.com/google/uuid"

	"rideout/service/planner"
)

// Lying is a deployment as gear bears it: from when to when, and what its plan says lying there costs.
type Lying struct {
	DeploymentID uuid.UUID
	PlanID       uuid.UUID
	VesselID     uuid.UUID // uuid.Nil: none is named
	From         time.Time
	Until        *time.Time // end of the retrieval; nil: none is recorded
	Wear         []planner.PhaseWear
}

// stormPhases are the phases whose hours are hours of storm: from Beaufort 8 or the sea of it. Our choice, the careful one:
// a rode retired after so many hours of storm shall not have borne gales uncounted.
var stormPhases = []string{"gale", "storm"}

// DeploymentUse is what one deployment adds to the use of the gear in it.
type DeploymentUse struct {
	DeploymentID uuid.UUID    `json:"deployment_id"`
	PlanID       uuid.UUID    `json:"plan_id"`
	VesselID     *uuid.UUID   `json:"vessel_id,omitempty"`
	From         time.Time    `json:"from"`
	Until        time.Time    `json:"until"`
	Retrieved    bool         `json:"retrieved"`
	Hours        float64      `json:"hours"`
	OutsideH     float64      `json:"hours_outside_forecast"`
	StormHours   float64      `json:"storm_hours"`
	FatigueShare planner.Band `json:"fatigue_share"` // of a rode's life
	Phases       []PhaseUse   `json:"phases"`
}

// PhaseUse is the part of it in one phase of the plan.
type PhaseUse struct {
	Name    string       `json:"name"`
	Hours   float64      `json:"hours"`
	PerHour planner.Band `json:"fatigue_share_per_hour"`
}

// Use gives what a deployment adds by a time. Hours are shared out over the phases of the plan, each with the cost of an
// hour that the plan has for it (see planner.WearOf); an hour before or after the forecast counts as in the phase nearest
// to it. Without a retrieval she is taken to lie until the time asked, and no longer than the forecast: beyond it
// nothing is known, and a retrieval nobody recorded shall not wear out a rode for ever.
//
// Damage adds up by the rule of Palmgren and Miner: shares are summed whatever their order. The plan's figures are for the
// rode's length and strength as planned and for the weather of the forecast, not for what came; chafe is not in them.
func (l Lying) Use(at time.Time) DeploymentUse {
	spans := spansOf(l.Wear)
	until := at
	if n := len(spans); n > 0 && spans[n-1].Until.Before(until) {
		until = spans[n-1].Until
	}
	if l.Until != nil {
		if until = *l.Until; at.Before(until) {
			until = at
		}
	}
	if until.Before(l.From) {
		until = l.From
	}
	u := DeploymentUse{
		DeploymentID: l.DeploymentID, PlanID: l.PlanID, From: l.From, Until: until, Retrieved: l.Until != nil && !l.Until.After(at),
		Hours: hundredths(until.Sub(l.From).Hours()), Phases: make([]PhaseUse, 0, len(l.Wear)),
	}
	if l.VesselID != uuid.Nil {
		u.VesselID = &l.VesselID
	}
	hours := make([]float64, len(l.Wear))
	for i, s := range spans {
		inside := overlapH(l.From, until, s.From, s.Until)
		from, to := s.From, s.Until
		if i == 0 && l.From.Before(from) {
			from = l.From
		}
		if i == len(spans)-1 && until.After(to) {
			to = until
		}
		borne := overlapH(l.From, until, from, to)
		hours[s.phase] += borne
		u.OutsideH += borne - inside
	}
	u.add(l.Wear, hours)
	return u
}

// add shares the hours out over the phases.
func (u *DeploymentUse) add(wear []planner.PhaseWear, hours []float64) {
	for i, w := range wear {
		if hours[i] == 0 {
			continue
		}
		u.Phases = append(u.Phases, PhaseUse{w.Name, hundredths(hours[i]), sixDigits(w.PerHour)})
		u.FatigueShare = plus(u.FatigueShare, w.PerHour.Scale(hours[i]))
		if slices.Contains(stormPhases, w.Name) {
			u.StormHours += hours[i]
		}
	}
	u.StormHours, u.OutsideH, u.FatigueShare = hundredths(u.StormHours), hundredths(u.OutsideH), sixDigits(u.FatigueShare)
}

// phaseSpan is a span and the phase it is of.
type phaseSpan struct {
	planner.Span
	phase int
}

func spansOf(wear []planner.PhaseWear) (spans []phaseSpan) {
	n := 0
	for _, w := range wear {
		n += len(w.Spans)
	}
	spans = make([]phaseSpan, 0, n)
	for i, w := range wear {
		for _, s := range w.Spans {
			spans = append(spans, phaseSpan{s, i})
		}
	}
	slices.SortFunc(spans, func(a, b phaseSpan) int { return cmp.Or(a.From.Compare(b.From), cmp.Compare(a.phase, b.phase)) })
	return spans
}

func overlapH(from, until, begin, end time.Time) float64 {
	if begin.Before(from) {
		begin = from
	}
	if end.After(until) {
		end = until
	}
	return math.Max(0, end.Sub(begin).Hours())
}

func hundredths(h float64) float64 { return round(h, 100) }

// sixDigits takes off what only the arithmetic of the machine adds, so that a sum that reaches a limit does.
func sixDigits(b planner.Band) planner.Band {
	of := func(x float64) float64 {
		if x == 0 {
			return 0
		}
		return round(x, math.Pow(10, 5-math.Floor(math.Log10(math.Abs(x)))))
	}
	return planner.Band{Low: of(b.Low), Mid: of(b.Mid), High: of(b.High)}
}

func plus(a, b planner.Band) planner.Band {
	return planner.Band{Low: a.Low + b.Low, Mid: a.Mid + b.Mid, High: a.High + b.High}
}

// Use is what a piece of gear has borne.
type Use struct {
	Hours        float64         `json:"hours"` // lain to, of the deployments listed
	StormHours   float64         `json:"storm_hours"`
	FatigueShare planner.Band    `json:"fatigue_share"`
	Deployments  []DeploymentUse `json:"deployments"` // in the order of their begins
}

// UseOf adds up what a piece of gear has borne by a time: what the item says of use that no deployment here tells of, and
// each deployment that names it. Fatigue counts for a rode alone: the plan computes no other's.
func UseOf(item GearItem, lain []Lying, at time.Time) Use {
	u := Use{StormHours: item.StormHours, Deployments: make([]DeploymentUse, 0, len(lain))}
	u.FatigueShare = planner.Band{Low: item.FatigueShare, Mid: item.FatigueShare, High: item.FatigueShare}
	for _, l := range lain {
		if l.From.After(at) {
			continue
		}
		d := l.Use(at)
		if item.Kind != "rode" {
			d.FatigueShare = planner.Band{}
			for i := range d.Phases {
				d.Phases[i].PerHour = planner.Band{}
			}
		}
		u.Deployments = append(u.Deployments, d)
	}
	slices.SortFunc(u.Deployments, func(a, b DeploymentUse) int {
		return cmp.Or(a.From.Compare(b.From), cmp.Compare(a.DeploymentID.String(), b.DeploymentID.String()))
	})
	for _, d := range u.Deployments {
		u.Hours, u.StormHours = u.Hours+d.Hours, u.StormHours+d.StormHours
		u.FatigueShare = plus(u.FatigueShare, d.FatigueShare)
	}
	u.Hours, u.StormHours, u.FatigueShare = hundredths(u.Hours), hundredths(u.StormHours), sixDigits(u.FatigueShare)
	return u
}

// ReachedAt is the end of the deployment with which a sum reached a limit; nil: the item's own figure had reached it, or
// nothing has.
func (u Use) ReachedAt(own, limit float64, of func(DeploymentUse) float64) *time.Time {
	if own >= limit {
		return nil
	}
	for _, d := range u.Deployments {
		if own += of(d); own >= limit-1e-9 {
			return &d.Until
		}
	}
	return nil
}
