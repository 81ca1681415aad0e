package service

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"math"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"

	"rideout/service/calibration"
	"rideout/service/fleet"
	"rideout/service/physics/quantity"
	"rideout/service/planner"
)

// Learning is what the fleet's outcomes teach as of two times.
type Learning struct {
	ValidAt         time.Time          `json:"valid_at"`
	KnownAt         time.Time          `json:"known_at"`
	Outcomes        int                `json:"outcomes"`
	Fleet           LearntFactors      `json:"fleet"`
	Unseen          LearntFactors      `json:"unseen"`
	BetweenVessels  planner.Band       `json:"between_vessels"`
	BetweenCanopies planner.Band       `json:"between_canopies"`
	DriftNoise      planner.Band       `json:"drift_noise"`
	LoadNoise       planner.Band       `json:"load_noise"`
	Vessels         []LearntVessel     `json:"vessels"`
	Canopies        []LearntCanopy     `json:"canopies"`
	Pairs           []LearntDrift      `json:"pairs"`
	Observations    []LearntPair       `json:"observations"`
	Outliers        []planner.Outlying `json:"outliers"`
	LeftOut         []LeftOut          `json:"left_out"`
	Notes           []string           `json:"notes"`
	Method          string             `json:"method"`
	Links           map[string]string  `json:"links"`
}

// LearntFactors are three that belong together.
type LearntFactors struct {
	Windage planner.Learnt `json:"windage_factor"`
	Drag    planner.Learnt `json:"drag_factor"`
	Drift   planner.Learnt `json:"drift_factor"`
}

// LearntVessel is what was learnt of a vessel.
type LearntVessel struct {
	VesselID string         `json:"vessel_id"`
	Windage  planner.Learnt `json:"windage_factor"`
	Note     string         `json:"note,omitempty"`
}

// LearntCanopy is what was learnt of a canopy.
type LearntCanopy struct {
	Canopy string         `json:"canopy"`
	Drag   planner.Learnt `json:"drag_factor"`
	Note   string         `json:"note,omitempty"`
}

// LearntDrift is what was learnt of the drift of a vessel with a canopy.
type LearntDrift struct {
	VesselID string         `json:"vessel_id"`
	Canopy   string         `json:"canopy"`
	Drift    planner.Learnt `json:"drift_factor"`
}

const learningMethod = "Predicted is what the kept plan has for the hours observed, without factors, at the middle of its band; observed is the drift between two fixes less the plan's current, " +
	"or a load that is a mean of 10 minutes or more. A hierarchical estimate takes a factor on the steady push for each vessel and one on drag for each cut and size of canopy, each drawn " +
	"to the fleet as far as its own outcomes leave open. Wild observations are named and count little. Current, forecast and instruments are no better than they are: a factor learnt in " +
	"moderate weather is an extrapolation in a storm."

// fewestOutcomes is how many a plan asks for before it uses what they teach. Our choice.
const fewestOutcomes = 5

// Calibration shows what the fleet's outcomes teach; a vessel, if one is named, narrows what is listed.
func (r *Registers) Calibration(ctx context.Context, org OrgID, vessel uuid.UUID, at AsOf) (l Learning, _ AsOf, err error) {
	at = r.asked(at)
	err = r.History.View(ctx, org, at.KnownAt, func(ctx context.Context, reader Reader) error {
		if at, err = r.settle(ctx, reader, at); err != nil {
			return err
		}
		if vessel != uuid.Nil {
			if err := mustExist(ctx, reader, fleet.KindVessel, vessel); err != nil {
				return err
			}
		}
		learnt, err := r.learner.learn(ctx, reader, at)
		if err == nil {
			l = learnt.shown(at, vessel)
		}
		return err
	})
	return l, at, sortedFor(fleet.KindVessel, err)
}

// lesson is what was learnt and from what.
type lesson struct {
	calibration.Result
	pairs []LearntPair
	left  []LeftOut
}

// learner keeps the last estimates made, because one takes as long as a plan and the same outcomes give the same bits. The
// zero value is ready.
type learner struct {
	mu   sync.Mutex
	kept []keptEstimate
}

type keptEstimate struct {
	of     [sha256.Size]byte
	result calibration.Result
}

const mostKept = 16

func (k *learner) learn(ctx context.Context, reader Reader, at AsOf) (lesson, error) {
	outcomes, err := reader.Trials(ctx, at)
	if err != nil {
		return lesson{}, err
	}
	l := lesson{}
	l.pairs, l.left = paired(outcomes)
	l.Result, err = k.estimate(l.pairs)
	return l, err
}

func (k *learner) estimate(pairs []LearntPair) (calibration.Result, error) {
	text, err := json.Marshal(pairs)
	if err != nil {
		return calibration.Result{}, fmt.Errorf("encode outcomes: %w", err)
	}
	of := sha256.Sum256(text)
	if known, ok := k.find(of); ok {
		return known, nil
	}
	observations := make([]calibration.Observation, len(pairs))
	for i, p := range pairs {
		o := calibration.Observation{
			ID: p.ObservationID.String(), Vessel: p.VesselID.String(), Canopy: p.Canopy, Kind: p.Kind,
			Predicted: p.Predicted, Observed: p.Observed, Share: p.Share,
		}
		if p.Kind == calibration.Drift {
			o.Predicted, o.Observed = quantity.MetresPerSecond(p.Predicted), quantity.MetresPerSecond(p.Observed)
		}
		observations[i] = o
	}
	result, err := calibration.Estimate(observations, calibration.DefaultPrior())
	if err != nil {
		return result, fmt.Errorf("learn from outcomes: %w", err)
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	k.kept = append(k.kept, keptEstimate{of, result})
	k.kept = k.kept[max(0, len(k.kept)-mostKept):]
	return result, nil
}

func (k *learner) find(of [sha256.Size]byte) (calibration.Result, bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	i := slices.IndexFunc(k.kept, func(e keptEstimate) bool { return e.of == of })
	if i < 0 {
		return calibration.Result{}, false
	}
	return k.kept[i].result, true
}

func learnt(f calibration.Factor) planner.Learnt {
	return planner.Learnt{
		Band:         planner.Band{Low: rounded(f.Low, 1e4), Mid: rounded(f.Mid, 1e4), High: rounded(f.High, 1e4)},
		Observations: f.Observations, ShrunkToFleet: rounded(f.ShrunkToFleet, 1e3),
	}
}

func factorsOf(p calibration.FactorPair) LearntFactors {
	return LearntFactors{learnt(p.Windage), learnt(p.Drag), learnt(p.Drift)}
}

func fourDigits(b planner.Band) planner.Band {
	return planner.Band{Low: rounded(b.Low, 1e4), Mid: rounded(b.Mid, 1e4), High: rounded(b.High, 1e4)}
}

// outlying gives the outliers that tell of a vessel or a canopy; both empty: all.
func (l lesson) outlying(vessel, canopy string) []planner.Outlying {
	named := []planner.Outlying{}
	for _, o := range l.Outliers {
		i := slices.IndexFunc(l.pairs, func(p LearntPair) bool { return p.ObservationID.String() == o.ID && p.Kind == o.Kind })
		if i < 0 || (vessel != "" || canopy != "") && l.pairs[i].VesselID.String() != vessel && l.pairs[i].Canopy != canopy {
			continue
		}
		named = append(named, planner.Outlying{ObservationID: o.ID, Kind: string(o.Kind), Weight: rounded(o.Weight, 1e3), Text: o.Text})
	}
	return named
}

// shown writes a lesson for people; a vessel narrows the lists.
func (l lesson) shown(at AsOf, vessel uuid.UUID) Learning {
	only := ""
	if vessel != uuid.Nil {
		only = vessel.String()
	}
	hers := func(id string) bool { return only == "" || id == only }
	out := Learning{
		ValidAt: at.ValidAt, KnownAt: at.KnownAt, Outcomes: l.N, Fleet: factorsOf(l.Fleet), Unseen: factorsOf(l.Unseen),
		BetweenVessels: fourDigits(l.BetweenVessels), BetweenCanopies: fourDigits(l.BetweenCanopies),
		DriftNoise: fourDigits(l.DriftNoise), LoadNoise: fourDigits(l.LoadNoise),
		Vessels: []LearntVessel{}, Canopies: []LearntCanopy{}, Pairs: []LearntDrift{}, Observations: []LearntPair{},
		Outliers: l.outlying(only, ""), LeftOut: l.left, Notes: append([]string{}, l.Notes...), Method: learningMethod,
		Links: map[string]string{"self": learningPath(at, vessel), "policy": "/v1/policy"},
	}
	for _, v := range l.Vessels {
		if hers(v.Name) {
			out.Vessels = append(out.Vessels, LearntVessel{v.Name, learnt(v.Windage), v.Note})
		}
	}
	for _, c := range l.Canopies {
		out.Canopies = append(out.Canopies, LearntCanopy{c.Name, learnt(c.Drag), c.Note})
	}
	for _, p := range l.Pairs {
		if hers(p.Vessel) {
			out.Pairs = append(out.Pairs, LearntDrift{p.Vessel, p.Canopy, learnt(p.Drift)})
		}
	}
	for _, p := range l.pairs {
		if hers(p.VesselID.String()) {
			out.Observations = append(out.Observations, p)
		}
	}
	return out
}

// learningPath is where a lesson is read again.
func learningPath(at AsOf, vessel uuid.UUID) string {
	q := url.Values{"valid_at": {at.ValidAt.Format(time.RFC3339Nano)}, "known_at": {at.KnownAt.Format(time.RFC3339Nano)}}
	if vessel != uuid.Nil {
		q.Set("vessel_id", vessel.String())
	}
	return "/v1/calibration?" + q.Encode()
}

// forPlan takes from a lesson what a plan for a vessel needs, and decides whether the plan is computed with it.
//
// It is so only where the policy says so, because a factor below one makes loads smaller than the theory has them: that is
// the organisation's to decide, once it has seen on its plans what would change.
func (l lesson) forPlan(vessel uuid.UUID, req planner.Request, policy fleet.Policy) *planner.Calibration {
	f, canopy := l.factorsFor(vessel, req)
	c := &planner.Calibration{
		Outcomes: l.N, Windage: f.Windage, Drag: f.Drag, Drift: f.Drift,
		Outliers: l.outlying(vessel.String(), canopy), Notes: append([]string{}, l.Notes...),
	}
	given := planner.ForeseenBy(planner.Plan{}, req).Assumed
	switch {
	case l.N == 0:
		c.Why = "no outcome of the fleet can be used yet"
	case !policy.UseCalibration:
		c.Why = "the policy's use_calibration is off: the plan is computed without, and states what the factors would change"
	case l.N < fewestOutcomes:
		c.Why = fmt.Sprintf("too few outcomes: the fleet has %d that can be used, and %d are asked", l.N, fewestOutcomes)
	case len(given) > 0:
		c.Why = "the request gives " + strings.Join(given, ", ") + ", which the factors are for"
	case !c.Windage.InReach() || !c.Drag.InReach():
		c.Why = "a factor is so far from 1 that the records are to be doubted before the theory"
	default:
		c.Apply, c.Why = true, "the policy's use_calibration is on"
		if c.Windage.Observations == 0 {
			c.Why += "; she has no outcome of her own, and the fleet speaks for her"
		}
	}
	return c
}

// factorsFor gives the factors of a vessel with the canopy of a request: their own, else those of one not seen.
func (l lesson) factorsFor(vessel uuid.UUID, req planner.Request) (f LearntFactors, canopy string) {
	windage, drag := l.Unseen.Windage, l.Unseen.Drag
	if i := slices.IndexFunc(l.Vessels, func(v calibration.Vessel) bool { return v.Name == vessel.String() }); i >= 0 {
		windage = l.Vessels[i].Windage
	}
	if req.Gear != nil && req.Gear.Canopy != nil {
		canopy = canopyName(string(req.Gear.Canopy.Shape), req.Gear.Canopy.DiameterM)
		if i := slices.IndexFunc(l.Canopies, func(c calibration.Canopy) bool { return c.Name == canopy }); i >= 0 {
			drag = l.Canopies[i].Drag
		}
	}
	i := slices.IndexFunc(l.Pairs, func(p calibration.Pair) bool { return p.Vessel == vessel.String() && p.Canopy == canopy })
	if i >= 0 {
		return LearntFactors{learnt(windage), learnt(drag), learnt(l.Pairs[i].Drift)}, canopy
	}
	return LearntFactors{learnt(windage), learnt(drag), learnt(driftFactor(windage, drag))}, canopy
}

// driftFactor is what two factors learnt apart make of a drift: sqrt(windage/drag), their spreads taken as independent.
func driftFactor(windage, drag calibration.Factor) calibration.Factor {
	mid, sd := math.Sqrt(windage.Mid/drag.Mid), math.Hypot(windage.LogSD, drag.LogSD)/2
	const fiveInHundred = 1.6448536269514722 // deviations of a normal law
	return calibration.Factor{
		Low: mid * math.Exp(-fiveInHundred*sd), Mid: mid, High: mid * math.Exp(fiveInHundred*sd), LogSD: sd,
		ShrunkToFleet: math.Max(windage.ShrunkToFleet, drag.ShrunkToFleet),
	}
}
