package planner

import (
	"math"
	"slices"
	"time"

	"rideout/service/physics/coast"
	"rideout/service/physics/drift"
	"rideout/service/physics/geo"
	"rideout/service/physics/quantity"
)

// Choices about sea room that are ours.
const (
	particles        = 2000
	driftSeed        = 1
	shownEveryH      = 6.0 // containment, at least
	mostShown        = 8   // instants of containment
	helpTakesH       = 6.0 // from a call to its coming, for the latest hour to call
	nearShoreM       = 2 * quantity.MetresPerNauticalMile
	nearestWithinM   = 300e3
	reachMarginM     = 20e3
	kindShore        = "shore"
	kindHazard       = "hazard"
	overForecastWind = 1.5 // how far beyond the forecast the shores are looked for
)

var containedShares = []float64{0.50, 0.90, 0.95}

// waters are the shores and hazards about a start, in the plane about it.
type waters struct {
	plane  geo.Plane
	start  geo.Point
	index  coast.Index
	shores int      // the first lines are shores
	names  []string // of the lines after them
	none   bool     // nothing within reach
}

// chart gathers what lies within reach of a drift.
func chart(start geo.Point, hazards []byte, reachM float64) (waters, error) {
	w := waters{plane: geo.NewPlane(start), start: start}
	lines, err := coast.Near(w.plane, math.Min(math.Max(reachM, nearestWithinM), coast.ReachM))
	if err != nil {
		return w, err
	}
	w.shores = len(lines)
	sent, err := hazardLines(hazards, w.plane)
	if err != nil {
		return w, err
	}
	for _, l := range sent {
		w.names = append(w.names, l.Name)
	}
	lines = append(lines, sent...)
	w.index, w.none = coast.NewIndex(lines), len(lines) == 0
	return w, nil
}

// called is the name and the kind of a line.
func (w waters) called(line int) (name, kind string) {
	if line < w.shores {
		return "shore", kindShore
	}
	return w.names[line-w.shores], kindHazard
}

func (w waters) obstacles() drift.Obstacles {
	if w.none {
		return nil
	}
	return w.index
}

// run carries particles over legs.
func (w waters) run(spans []drift.Span, at []float64) (drift.Ensemble, error) {
	return drift.Run(w.drifting(spans, at))
}

func (w waters) drifting(spans []drift.Span, at []float64) drift.Case {
	return drift.Case{Start: w.start, Spans: spans, Spread: drift.DefaultSpread(), Obstacles: w.obstacles(), Particles: particles, AtH: at, Seed: driftSeed}
}

// reachM is how far the legs can carry her.
func reachM(lists ...[]DriftLeg) float64 {
	most := 0.0
	for _, legs := range lists {
		sum := 0.0
		for _, l := range legs {
			sum += quantity.MetresPerSecond(l.SpeedKt.High*overForecastWind+l.CurrentKt+0.5) * l.Hours * 3600
		}
		most = math.Max(most, sum)
	}
	return most + reachMarginM
}

// nearest is the nearest shore or hazard to the start, and the middle track's closest approach to any.
func (w waters) nearest(track drift.Track) *NearHazard {
	line, distance, at, ok := w.index.Nearest(geo.XY{}, nearestWithinM)
	if w.none || !ok {
		return nil
	}
	n := &NearHazard{DistanceNM: r1(distance / quantity.MetresPerNauticalMile), BearingDeg: math.Round(turned(math.Atan2(at.EastM, at.NorthM)))}
	n.Name, n.Kind = w.called(line)
	closest := distance
	for _, f := range track.Fixes {
		xy, err := w.plane.XY(f.Point)
		if err != nil {
			continue
		}
		if _, d, _, ok := w.index.Nearest(xy, closest); ok {
			closest = math.Min(closest, d)
		}
	}
	n.ClosestNM = r1(closest / quantity.MetresPerNauticalMile)
	if track.Ashore.Within {
		n.ClosestNM = 0
	}
	return n
}

// reached lists what can be met, all shores taken together.
func (w waters) reached(e drift.Ensemble) []ReachedHazard {
	list, shore := []ReachedHazard{}, drift.Reach{Particles: e.Ashore.Particles, ForecastH: e.Ashore.ForecastH}
	for _, l := range e.Lines {
		if l.Line < w.shores {
			shore.TimesH = append(shore.TimesH, l.TimesH...)
			continue
		}
		list = append(list, met(w.names[l.Line-w.shores], kindHazard, l.Reach))
	}
	if len(shore.TimesH) > 0 {
		slices.Sort(shore.TimesH)
		list = append(list, met("shore", kindShore, shore))
	}
	slices.SortStableFunc(list, func(a, b ReachedHazard) int { return sign(b.Probability - a.Probability) })
	return list
}

func met(name, kind string, r drift.Reach) ReachedHazard {
	return ReachedHazard{name, kind, sig3(r.Probability().Mid), reachOf(r.Arrival())}
}

func reachOf(a drift.Arrival) Reach {
	of := func(w drift.When) *float64 {
		if !w.Within {
			return nil
		}
		h := r1(w.Hours)
		return &h
	}
	return Reach{of(a.Low), of(a.Mid), of(a.High)}
}

// shownAt are the instants containment is drawn for, in hours from the start.
func shownAt(hours float64) []float64 {
	every := math.Max(shownEveryH, math.Ceil(hours/mostShown/shownEveryH)*shownEveryH)
	var at []float64
	for h := every; h < hours-0.5; h += every {
		at = append(at, h)
	}
	return append(at, hours)
}

func totalH(legs []DriftLeg) float64 {
	sum := 0.0
	for _, l := range legs {
		sum += l.Hours
	}
	return sum
}

// containment are the areas in which she is, as features.
func containment(e *drift.Ensemble, from time.Time, at []float64) ([]featureMade, error) {
	var features []featureMade
	for _, h := range at {
		regions, err := e.Regions(h, containedShares...)
		if err != nil {
			return nil, err
		}
		for _, r := range regions {
			features = append(features, featureOf(areaOf(r.Ring), map[string]any{
				"at": after(from, h), "hours": r1(h), "share": r.Share, "area_nm2": sig3(r.AreaM2 / math.Pow(quantity.MetresPerNauticalMile, 2)),
				"centre_latitude_deg": round5(r.Centre.LatitudeDeg()), "centre_longitude_deg": round5(r.Centre.LongitudeDeg()),
			}))
		}
	}
	return features, nil
}

// trackOf is the middle track as a feature, with its times.
func trackOf(t drift.Track, from time.Time, name string) featureMade {
	points, times := make([]geo.Point, len(t.Fixes)), make([]time.Time, len(t.Fixes))
	for i, f := range t.Fixes {
		points[i], times[i] = f.Point, after(from, f.AtH)
	}
	return featureOf(wayOf(points), map[string]any{"name": name, "times": times, "ashore": t.Ashore.Within})
}
