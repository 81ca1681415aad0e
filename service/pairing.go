package service

import (
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/google/uuid"

	"rideout/service/calibration"
	"rideout/service/physics/quantity"
	"rideout/service/planner"
)

// LearntPair is one drift or mean load as the plan predicted and the crew observed it.
type LearntPair struct {
	ObservationID uuid.UUID        `json:"observation_id"`
	DeploymentID  uuid.UUID        `json:"deployment_id"`
	PlanID        uuid.UUID        `json:"plan_id"`
	VesselID      uuid.UUID        `json:"vessel_id"`
	Canopy        string           `json:"canopy"`
	Kind          calibration.Kind `json:"kind"`
	Unit          string           `json:"unit"`
	Predicted     float64          `json:"predicted"` // without factors
	Observed      float64          `json:"observed"`
	Share         float64          `json:"accuracy_share"`
}

// LeftOut is what was observed and cannot be used.
type LeftOut struct {
	ObservationID uuid.UUID        `json:"observation_id"`
	Kind          calibration.Kind `json:"kind"`
	Why           string           `json:"why"`
}

// When an observation is no test of the plan. All are our choice, no source: the forces go with the square of the wind, so a
// quarter more of it would be taken for half as much windage again.
const (
	mostOffHeadingDeg = 30.0
	mostWindRatio     = 1.25
	mostSeaRatio      = 1.4
	leastDriftTime    = 30 * time.Minute
	leastLoadMin      = 10.0
	leastDriftKt      = 0.1
	mostShare         = 0.5 // an accuracy worse than this tells nothing
)

// Accuracies taken, one standard deviation of the share. Our choice, no source; how the noise really is, is estimated.
const (
	forecastShare      = 0.10 // of a drift or load, for the forecast and the reading
	fixErrorM          = 15.0 // of each fix
	givenCurrentShare  = 0.3  // of the current taken off, where the forecast gave it
	guessedCurrentPart = 0.5  // where it was estimated
)

// canopyName is what canopies of one drag factor have in common.
func canopyName(shape string, diameterM float64) string {
	return fmt.Sprintf("%s %g m", shape, diameterM)
}

// paired holds each observation against its plan.
func paired(outcomes []Trial) (pairs []LearntPair, left []LeftOut) {
	pairs, left = []LearntPair{}, []LeftOut{}
	for _, o := range outcomes {
		for _, side := range []struct {
			seen bool
			kind calibration.Kind
			hold func(Trial) (LearntPair, string)
		}{
			{o.Observation.Drift != nil, calibration.Drift, driftPair},
			{o.Observation.LoadN != nil, calibration.Load, loadPair},
		} {
			if !side.seen {
				continue
			}
			why := o.unfit()
			var p LearntPair
			if why == "" {
				p, why = side.hold(o)
			}
			if why == "" && p.Share > mostShare {
				why = "fixes too near to each other, or a current too strong beside the drift, leave too little to tell"
			}
			if why != "" {
				left = append(left, LeftOut{o.ID, side.kind, why})
				continue
			}
			p.ObservationID, p.DeploymentID, p.PlanID, p.VesselID, p.Kind = o.ID, o.DeploymentID, o.PlanID, o.VesselID, side.kind
			p.Canopy = canopyName(o.Foreseen.CanopyShape, o.Foreseen.CanopyM)
			pairs = append(pairs, p)
		}
	}
	return pairs, left
}

// unfit says why an outcome is no test of its plan; empty: it is one.
func (o Trial) unfit() string {
	f := o.Foreseen
	heading := o.Observation.HeadingOffWindDeg
	if heading == nil {
		heading = o.Deployment.HeadingOffWindDeg
	}
	c := o.Deployment.Canopy
	switch {
	case o.VesselID == uuid.Nil:
		return "the deployment names no registered vessel"
	case len(f.Assumed) > 0:
		return "the plan was made with given values of " + strings.Join(f.Assumed, ", ")
	case len(f.Hours) == 0:
		return "the plan has no sea room, so no drift by the hour"
	case c != nil && (string(c.Shape) != f.CanopyShape || math.Abs(c.DiameterM-f.CanopyM) > 0.05):
		return "she lay to another canopy than the plan was made for"
	case heading != nil && math.Abs(*heading-f.HeadingDeg) > mostOffHeadingDeg:
		return fmt.Sprintf("she lay %.0f degrees off the wind and the plan is for %.0f", *heading, f.HeadingDeg)
	}
	return ""
}

// stretch is what a plan foresaw of a stretch of time, in the mean.
type stretch struct {
	driftKt, meanN, windKt float64
	hsM                    *float64 // of the last hour; nil: not in the forecast
	eastKt, northKt        float64  // the current
	given                  bool
}

// over averages what was foreseen; it says why where the forecast does not reach.
func over(f planner.Foreseen, from, until time.Time) (s stretch, why string) {
	total := 0.0
	s.given = true
	for _, h := range f.Hours {
		begin, end := h.From, h.Until()
		if begin.Before(from) {
			begin = from
		}
		if end.After(until) {
			end = until
		}
		w := end.Sub(begin).Hours()
		if w < 0 || w == 0 && !(from.Equal(until) && !from.Before(h.From) && from.Before(h.Until())) {
			continue
		}
		if w == 0 {
			w = 1 // an instant
		}
		sin, cos := math.Sincos(quantity.Degrees(h.CurrentDeg).Radians())
		s.driftKt, s.meanN, s.windKt = s.driftKt+w*h.DriftKt, s.meanN+w*h.MeanN, s.windKt+w*h.WindKt
		s.eastKt, s.northKt = s.eastKt+w*h.CurrentKt*sin, s.northKt+w*h.CurrentKt*cos
		s.given, s.hsM = s.given && h.Given, h.HsM
		total += w
	}
	if reach := until.Sub(from).Hours(); total == 0 || total < reach-1e-6 {
		return s, "it lies outside the plan's forecast"
	}
	for _, v := range []*float64{&s.driftKt, &s.meanN, &s.windKt, &s.eastKt, &s.northKt} {
		*v /= total
	}
	return s, ""
}

// otherWeather says so where what was measured is not what was forecast.
func (o Trial) otherWeather(s stretch) string {
	apart := func(seen *float64, foreseen, most float64) bool {
		return seen != nil && foreseen > 0 && (*seen > most*foreseen || *seen < foreseen/most)
	}
	switch {
	case apart(o.Observation.WindSpeedKt, s.windKt, mostWindRatio):
		return fmt.Sprintf("the wind was %.0f kt and the forecast had %.0f", *o.Observation.WindSpeedKt, s.windKt)
	case s.hsM != nil && apart(o.Observation.WaveHeightM, *s.hsM, mostSeaRatio):
		return fmt.Sprintf("the sea was %.1f m and the forecast had %.1f", *o.Observation.WaveHeightM, *s.hsM)
	}
	return ""
}

// driftPair takes the current the plan has off the way made good between the fixes.
func driftPair(o Trial) (p LearntPair, why string) {
	from, to, made := o.Observation.FromFix.Time, o.Observation.ToFix.Time, o.Observation.Drift
	if to.Sub(from) < leastDriftTime {
		return p, fmt.Sprintf("the fixes lie less than %v apart", leastDriftTime)
	}
	s, why := over(*o.Foreseen, from, to)
	if why == "" {
		why = o.otherWeather(s)
	}
	if why != "" {
		return p, why
	}
	sin, cos := math.Sincos(quantity.Degrees(made.TowardDeg).Radians())
	seen := math.Hypot(made.SpeedKt*sin-s.eastKt, made.SpeedKt*cos-s.northKt)
	predicted := s.driftKt / math.Sqrt(o.Foreseen.Windage/o.Foreseen.Drag)
	if seen < leastDriftKt || predicted < leastDriftKt {
		return p, "there was hardly a drift through the water to compare"
	}
	part := guessedCurrentPart
	if s.given {
		part = givenCurrentShare
	}
	fixes := math.Sqrt2 * fixErrorM / (quantity.MetresPerSecond(seen) * to.Sub(from).Seconds())
	current := part * math.Hypot(s.eastKt, s.northKt) / seen
	return LearntPair{
		Unit: "kt", Predicted: rounded(predicted, 1e3), Observed: rounded(seen, 1e3),
		Share: rounded(math.Sqrt(forecastShare*forecastShare+fixes*fixes+current*current), 1e3),
	}, ""
}

// loadPair takes a load as the mean of the minutes before it was noted.
func loadPair(o Trial) (p LearntPair, why string) {
	if m := o.Observation.LoadOverMin; m == nil || *m < leastLoadMin {
		return p, fmt.Sprintf("the load is no mean of %.0f minutes or more", leastLoadMin)
	}
	s, why := over(*o.Foreseen, o.Observation.ObservedAt, o.Observation.ObservedAt)
	if why == "" {
		why = o.otherWeather(s)
	}
	if why != "" {
		return p, why
	}
	predicted := s.meanN / o.Foreseen.Windage
	if predicted < 1 || *o.Observation.LoadN < 1 {
		return p, "there was hardly a load to compare"
	}
	return LearntPair{Unit: "N", Predicted: rounded(predicted, 1), Observed: *o.Observation.LoadN, Share: forecastShare}, ""
}

func rounded(x, per float64) float64 { return math.Round(x*per) / per }
