package bridle

import (
	"fmt"
	"math"

	"rideout/service/physics/quantity"
)

// Limits bound the choice of a bridle. The zero value leaves it to the package.
type Limits struct {
	LongestLegM float64 // of either leg; 0 for two lengths overall, our choice
	ReachM      float64 // from the line between the strong points to where the legs meet, along the rode; 0 has it chosen
}

// Bridle is a pair of legs for a heading. Fore is the leg to the bow.
type Bridle struct {
	Legs
	Heading           quantity.Angle
	MeetsAt           Point   // where the legs meet the rode; ahead of the stem FromBowM is negative
	MeetsAtM          float64 // from the stem
	ReachM            float64 // as in Limits
	LegAngle          quantity.Angle
	RodeN             float64 // steady; legs bear their shares of it, and of a peak
	ForeShare         float64
	AftShare          float64
	StiffnessNMPerRad float64 // always positive: an unstable heading is refused
}

// Reason says why a heading is refused.
type Reason string

// The reasons. LineOutside: one leg would have to push, or has next to nothing to do. Unstable: the legs the
// limits allow do not hold her there. TooWide: the reach asked for leaves more than 120 degrees between the legs.
const (
	ToLeeward   Reason = "aft_point_to_leeward"
	LineOutside Reason = "line_outside_points"
	Unstable    Reason = "unstable"
	LegsTooLong Reason = "legs_too_long"
	TooWide     Reason = "legs_too_wide"
)

// Refusal says that two points cannot hold a heading, and the nearest one they can, to a degree.
type Refusal struct {
	Heading quantity.Angle
	Reason  Reason
	Nearest *quantity.Angle // nil when they can hold none
}

func (r *Refusal) Error() string {
	held := "no heading can be held"
	if r.Nearest != nil {
		held = fmt.Sprintf("the nearest held is %.0f degrees", r.Nearest.Degrees())
	}
	return fmt.Sprintf("heading %.0f degrees off the wind cannot be held (%s); %s", r.Heading.Degrees(), string(r.Reason), held)
}

// Bounds of a bridle, our choices. At 60 degrees between the legs equal ones bear 58 % of the rode's load
// each, at 120 the whole; a leg with less than a twentieth goes slack at every swing; and the moment
// that turns her back is to be, for each radian, a twentieth of the rode's pull over her length.
const (
	widestChosen   = 60 * math.Pi / 180
	widestAllowed  = 120 * math.Pi / 180
	leastShare     = 0.05
	leastStiffness = 0.05
	mostOffWindDeg = 90.0
)

// Set returns the legs from two strong points that make her lie at a heading (-90 to 90 degrees). The aft
// point is to be on the side of the wind.
//
// The rode's line is that of the resultant, the other way; it must cross the line between the points
// between them, so that both legs pull. Where on it the legs meet is free. The rule, ours: as near as 60
// degrees between the legs allow, since longer ones only cost line; farther if she is not stable there, for each
// metre adds to what turns her back; nearer if a leg would be longer than the limit, up to 120 degrees.
//
// A *Refusal is returned for a heading these points cannot hold.
func (y Lying) Set(fore, aft Point, heading quantity.Angle, lim Limits) (Bridle, error) {
	m, lim, err := y.forSetting(fore, aft, lim)
	if err != nil {
		return Bridle{}, err
	}
	if err := quantity.Within("heading off the wind", heading.Degrees(), -mostOffWindDeg, mostOffWindDeg, "deg"); err != nil {
		return Bridle{}, err
	}
	b, why := m.set(fore, aft, heading.Radians(), lim)
	if why != "" {
		return Bridle{}, &Refusal{heading, why, m.nearest(fore, aft, heading.Radians(), lim)}
	}
	return b, nil
}

// Range returns the headings least and most off the wind that two points hold, on the aft point's side and
// to a degree, and whether they hold any. Between them there may be gaps: Set tells.
func (y Lying) Range(fore, aft Point, lim Limits) (least, most quantity.Angle, held bool, err error) {
	m, lim, err := y.forSetting(fore, aft, lim)
	if err != nil {
		return 0, 0, false, err
	}
	for deg := 0.0; deg <= mostOffWindDeg; deg++ {
		psi := quantity.Degrees(math.Copysign(deg, aft.OffCentreM))
		if _, why := m.set(fore, aft, psi.Radians(), lim); why != "" {
			continue
		}
		if !held {
			least, held = psi, true
		}
		most = psi
	}
	return least, most, held, nil
}

func (y Lying) forSetting(fore, aft Point, lim Limits) (model, Limits, error) {
	m, err := y.model()
	if err != nil {
		return m, lim, err
	}
	if lim.LongestLegM == 0 {
		lim.LongestLegM = 2 * y.Hull.LOAM
	}
	for _, p := range []Point{fore, aft} {
		if err := p.check(y.Hull); err != nil {
			return m, lim, err
		}
	}
	if err := quantity.Within("longest leg", lim.LongestLegM, 0.1, 1000, "m"); err != nil {
		return m, lim, err
	}
	if err := quantity.Within("reach of the bridle", lim.ReachM, 0, 1000, "m"); err != nil {
		return m, lim, err
	}
	apart := aft.place().minus(fore.place()).length()
	return m, lim, quantity.Within("distance between "+fore.Name+" and "+aft.Name, apart, 0.1, 200, "m")
}

// nearest looks on the aft point's side for the holdable heading nearest to the size of the wanted one.
func (m model) nearest(fore, aft Point, psi float64, lim Limits) *quantity.Angle {
	wanted := math.Round(math.Abs(psi) / stepRad)
	for away := 0.0; away <= mostOffWindDeg; away++ {
		for _, deg := range []float64{wanted - away, wanted + away} {
			try := quantity.Degrees(math.Copysign(deg, aft.OffCentreM))
			if deg < 0 || deg > mostOffWindDeg {
				continue
			}
			if _, why := m.set(fore, aft, try.Radians(), lim); why == "" {
				return &try
			}
		}
	}
	return nil
}

func (m model) set(fore, aft Point, psi float64, lim Limits) (Bridle, Reason) {
	if psi*aft.OffCentreM < 0 {
		return Bridle{}, ToLeeward
	}
	s, a, b := m.at(psi), fore.place(), aft.place()
	na, nb := s.about(a), s.about(b)
	if na*nb >= 0 {
		return Bridle{}, LineOutside
	}
	x := crossing{a, b, a.plus(b.minus(a).times(na / (na - nb))), s.pull()}
	reach, why := m.reach(x, psi, s, lim)
	if why != "" {
		return Bridle{}, why
	}
	return m.rig(fore, aft, x, s, reach)
}

// reach chooses how far out the legs meet.
func (m model) reach(x crossing, psi float64, s state, lim Limits) (float64, Reason) {
	longest, widest := x.reachWithin(lim.LongestLegM), x.reachAt(widestAllowed)
	if longest < widest || lim.ReachM > longest {
		return 0, LegsTooLong
	}
	stable := m.stableReach(x, psi, leastStiffness*s.forceN.length()*m.Hull.LOAM)
	if stable > longest {
		return 0, Unstable
	}
	switch {
	case lim.ReachM == 0:
	case lim.ReachM < widest:
		return 0, TooWide
	case lim.ReachM < stable:
		return 0, Unstable
	default:
		return lim.ReachM, ""
	}
	return math.Min(longest, math.Max(stable, x.reachAt(widestChosen))), ""
}

// stableReach is the least reach with a stiffness, infinite when there is none. The moment about a
// place fixed on the rode's line is linear in the reach, and so is what it gains when she turns.
func (m model) stableReach(x crossing, psi, stiffness float64) float64 {
	port, starboard := m.at(psi-fineRad), m.at(psi+fineRad)
	at := func(reach float64) float64 {
		j := x.meeting(reach)
		return (starboard.about(j) - port.about(j)) / (2 * fineRad)
	}
	none, perM := at(0), at(1)-at(0)
	switch {
	case none >= stiffness:
		return 0
	case perM <= 0:
		return math.Inf(1)
	}
	return (stiffness - none) / perM
}

// rig makes the legs and works out what they bear.
func (m model) rig(fore, aft Point, x crossing, s state, reach float64) (Bridle, Reason) {
	j := x.meeting(reach)
	toFore, toAft := j.minus(x.fore), j.minus(x.aft)
	b := Bridle{
		Legs:     Legs{Leg{fore, toFore.length()}, Leg{aft, toAft.length()}},
		Heading:  quantity.Angle(s.psi),
		MeetsAt:  Point{"where the legs meet", j.aft, -j.port},
		MeetsAtM: j.length(), ReachM: reach,
		LegAngle: quantity.Angle(x.legAngle(reach)),
		RodeN:    s.forceN.length(),
	}
	b.ForeShare, b.AftShare = split(x.u, toFore.times(1/b.Fore.LengthM), toAft.times(1/b.Aft.LengthM))
	if math.Min(b.ForeShare, b.AftShare) < leastShare {
		return Bridle{}, LineOutside
	}
	b.StiffnessNMPerRad = m.stiffness(b.Legs, s.psi)
	return b, ""
}
