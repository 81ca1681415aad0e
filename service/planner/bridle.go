package planner

import (
	"fmt"
	"math"

	"rideout/service/physics/bridle"
	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
	"rideout/service/physics/wind"
)

// BridleAdvice is how she is held at the heading: the heading, the legs and what they bear. Loads are
// for the peak of the worst phase.
type BridleAdvice struct {
	Arrangement   string       `json:"arrangement"` // single_rode, two_legs, square
	HeadingDeg    float64      `json:"heading_off_wind_deg"`
	WishedDeg     *float64     `json:"wished_heading_deg,omitempty"`
	Side          string       `json:"wind_on"` // port, starboard, ahead
	BowPoint      string       `json:"bow_point"`
	AftPoint      string       `json:"aft_point,omitempty"`
	BowLegM       float64      `json:"bow_leg_m"`
	AftLegM       float64      `json:"aft_leg_m"`
	MeetsAtM      float64      `json:"meets_at_m"` // from the bow point to where the legs meet the rode
	BetweenDeg    float64      `json:"angle_between_legs_deg"`
	LegLoads      LegLoads     `json:"leg_loads_n"`
	Stable        bool         `json:"stable"`
	HoldsFromDeg  float64      `json:"holds_from_deg"` // headings these two points can hold
	HoldsToDeg    float64      `json:"holds_to_deg"`
	GustDeg       float64      `json:"heading_in_gust_deg"`
	Shifts        []WindShift  `json:"wind_shifts"`
	Temporary     *SpareBridle `json:"from_spare_line,omitempty"`
	CustomaryDeg  float64      `json:"customary_heading_deg"`
	CustomaryLegM float64      `json:"customary_leg_m,omitempty"`
	Verdict       string       `json:"verdict"` // holds, not_held, no_second_point, not_needed
	Text          string       `json:"text"`
}

// LegLoads are the peak loads of the legs; a single rode has all of it on the bow.
type LegLoads struct {
	BowN Band `json:"bow"`
	AftN Band `json:"aft"`
}

// WindShift is how she lies after the wind has shifted and the sea has not yet.
type WindShift struct {
	ShiftDeg   float64 `json:"wind_shifts_deg"`
	OffWindDeg float64 `json:"heading_off_wind_deg"`
	OffSeaDeg  float64 `json:"heading_off_sea_deg"`
	Text       string  `json:"text"`
}

// SpareBridle is a bridle leg made of a spare line.
type SpareBridle struct {
	Line      string  `json:"line"`
	Knot      string  `json:"knot"`
	NeededM   float64 `json:"needed_m"`
	CapacityN float64 `json:"capacity_n"`
	DemandN   float64 `json:"demand_n"`
	Use       float64 `json:"use"`
	Verdict   string  `json:"verdict"`
}

// shiftsTried are the shifts of the wind, in degrees, for which it is said how she lies before the sea
// has followed, clockwise positive.
var shiftsTried = []float64{-90, -60, -30, 30, 60, 90}

// bridleAdvice writes how she is held, for the peak of the worst phase.
func (c *computation) bridleAdvice() error {
	r := c.rigging
	peak := c.plan.Loads.PeakN
	a := &BridleAdvice{
		Arrangement: r.arrangement(), HeadingDeg: r1(math.Abs(r.at.Heading.Degrees())), Side: r.side(), BowPoint: r.fore.Name, Stable: r.at.Stable,
		LegLoads: LegLoads{BowN: each(peak.Scale(r.foreShare()), math.Round)}, Shifts: []WindShift{},
	}
	if w := c.request.Wish.HeadingOffWind; w != nil {
		deg := r1(w.Degrees())
		a.WishedDeg = &deg
	}
	if r.aft != nil {
		a.AftPoint, a.BowLegM, a.AftLegM, a.BetweenDeg = r.aft.Name, r1(r.legs.Fore.LengthM), r1(r.legs.Aft.LengthM), r1(r.legAngle.Degrees())
		a.MeetsAtM, a.LegLoads.AftN = a.BowLegM, each(peak.Scale(r.aftShare()), math.Round)
	}
	a.HoldsFromDeg, a.HoldsToDeg = r.holds()
	customary, err := bridle.Practice(c.ship.Hull)
	if err != nil {
		return err
	}
	a.CustomaryDeg = r1(customary.Degrees())
	if c.ship.Hull == hull.SailMultihull {
		a.CustomaryLegM = r1(bridle.SquareLegsPerBeam.Value * c.ship.BeamM)
	}
	if err := c.swings(a); err != nil {
		return err
	}
	if err := c.spareBridle(a); err != nil {
		return err
	}
	a.Verdict = c.bridleVerdict()
	a.Text = bridleText(*a)
	c.plan.Bridle = a
	return c.workBridle(*a)
}

func (r rigging) arrangement() string {
	switch {
	case r.square:
		return "square"
	case r.aft != nil:
		return "two_legs"
	}
	return "single_rode"
}

// side is the side the wind is on.
func (r rigging) side() string {
	switch deg := r.at.Heading.Degrees(); {
	case deg < -2:
		return "port"
	case deg > 2:
		return "starboard"
	}
	return "ahead"
}

// holds are the headings the points can hold, as turns off the wind.
func (r rigging) holds() (least, greatest float64) {
	a, b := math.Abs(r.least.Degrees()), math.Abs(r.greatest.Degrees())
	if r.square {
		return 0, r1(b)
	}
	return r1(math.Min(a, b)), r1(math.Max(a, b))
}

// swings finds how she lies in the gust, and after shifts of the wind the sea has not followed yet.
func (c *computation) swings(a *BridleAdvice) error {
	r := c.rigging
	gust := r.lying
	gust.Weather.WindMS = math.Min(c.spells[c.worst].worst.hour.gustMS, quantity.MetresPerSecond(maxWindKt))
	gust.Weather.WindMS = math.Max(gust.Weather.WindMS, 1)
	gust.Weather.AveragingS = gustAveragingS // the gust is a speed by itself
	got, err := gust.Settle(r.legs, r.at.Heading)
	if err != nil {
		return err
	}
	a.GustDeg = r1(math.Abs(got.Heading.Degrees()))
	for _, deg := range shiftsTried {
		by := quantity.Degrees(deg)
		e, err := r.lying.AfterShift(r.legs, r.at.Heading, by)
		if err != nil {
			return err
		}
		a.Shifts = append(a.Shifts, shifted(by, e))
	}
	return nil
}

func shifted(by quantity.Angle, e bridle.Equilibrium) WindShift {
	s := WindShift{ShiftDeg: r1(by.Degrees()), OffWindDeg: r1(math.Abs(e.Heading.Degrees())), OffSeaDeg: r1(math.Abs(e.SeaOffBow.Degrees()))}
	switch {
	case e.Fouled:
		s.Text = "the rode leads under her from the aft leg: ease or slip that leg at once, before it fouls keel or rudder"
	case s.OffSeaDeg > 120:
		s.Text = "she follows the wind and takes the old sea over the quarter or stern: shorten or ease the aft leg"
	case s.OffSeaDeg > 60:
		s.Text = "she follows the wind and lies nearly beam to the old sea: shorten or ease the aft leg, and expect heavy rolling"
	default:
		s.Text = "she follows the wind; the old sea still meets her forward of the beam"
	}
	return s
}

// gustAveragingS takes a speed as it is: the profile is of 10 min means.
const gustAveragingS = 600

// spareBridle judges an aft leg made of the spare line carried.
func (c *computation) spareBridle(a *BridleAdvice) error {
	g := c.request.Gear
	if g == nil || g.Spare == nil || g.Bridle != nil || c.rigging.aft == nil {
		return nil
	}
	s, err := rode.StrengthOf(g.Spare.Construction, g.Spare.DiameterMM, []rode.Termination{g.Spare.Knot}, rode.Condition{})
	if err != nil {
		return err
	}
	capacity, demand := s.AsUsedN.Low/c.policy.Factors.RopeFactor, a.LegLoads.AftN.Mid
	t := &SpareBridle{
		Line: fmt.Sprintf("%.0f m of %.0f mm %s nylon", g.Spare.LengthM, g.Spare.DiameterMM, words(string(g.Spare.Construction))), Knot: string(g.Spare.Knot),
		NeededM: r1(a.AftLegM + sparedForKnotsM), CapacityN: math.Round(capacity), DemandN: demand, Use: r3(demand / capacity), Verdict: "bears the leg's peak",
	}
	switch {
	case t.NeededM > g.Spare.LengthM:
		t.Verdict = "too short for the leg"
	case t.Use > 1:
		t.Verdict = "too weak for the leg's peak: double it, or lie to the single rode"
	}
	a.Temporary = t
	return nil
}

func (c *computation) bridleVerdict() string {
	r := c.rigging
	switch {
	case r.lacking:
		return "no_second_point"
	case r.aft == nil:
		return "not_needed"
	case math.Abs(math.Abs(r.at.Heading.Degrees())-c.ship.heading.Degrees()) > 5:
		return "not_held"
	}
	return "holds"
}

func bridleText(a BridleAdvice) string {
	customary := fmt.Sprintf(" Common practice for her kind of hull is about %.0f degrees off the wind (no source).", a.CustomaryDeg)
	if a.CustomaryLegM > 0 {
		customary = fmt.Sprintf(" Common practice for a multihull is square to the wind, on legs of at least %.1f m (no source).", a.CustomaryLegM)
	}
	swing := fmt.Sprintf(" In the forecast gust she lies %.0f degrees off.", a.GustDeg)
	loads := fmt.Sprintf(" At the peak the bow leg bears %s kN and the aft leg %s kN.", kilo(a.LegLoads.BowN.Mid), kilo(a.LegLoads.AftN.Mid))
	switch a.Verdict {
	case "no_second_point":
		return fmt.Sprintf("A heading off the wind needs a second strong point on the windward side, well aft of the %s, and none that serves is given: on a single rode she lies %.0f degrees off the wind. Loads are for the heading wished.", a.BowPoint, a.HeadingDeg) + swing + customary
	case "not_needed":
		return fmt.Sprintf("A single rode from the %s: she lies %.0f degrees off the wind.", a.BowPoint, a.HeadingDeg) + swing + customary
	}
	if a.Arrangement == "square" {
		return fmt.Sprintf("A leg of %.1f m from each bow, %s and %s: she lies square to the wind. Each leg is judged for %s kN, its share when the wind has shifted by %.0f degrees before she turns; beyond %.0f degrees one leg has it all.",
			a.BowLegM, a.BowPoint, a.AftPoint, kilo(a.LegLoads.BowN.Mid), bridle.GustShift.Value, a.HoldsToDeg) + swing + customary
	}
	text := fmt.Sprintf("Wind on the %s side, %.0f degrees off the bow: %.1f m from the %s and %.1f m from the %s, where both meet the rode.", a.Side, a.HeadingDeg, a.BowLegM, a.BowPoint, a.AftLegM, a.AftPoint) + loads + swing +
		fmt.Sprintf(" These two points hold her from %.0f to %.0f degrees.", a.HoldsFromDeg, a.HoldsToDeg) + customary
	if a.Verdict == "not_held" {
		text = "The heading asked for is not held; this is the nearest that is. " + text
	}
	return text
}

// workBridle writes the balance, so that it can be followed by hand.
func (c *computation) workBridle(a BridleAdvice) error {
	r := c.rigging
	sum, err := r.lying.Loads(r.at.Heading)
	if err != nil {
		return err
	}
	air, err := wind.Force(r.lying.Parts, r.lying.Weather.WindMS, r.at.Heading, wind.DesignAveragingS)
	if err != nil {
		return err
	}
	b := &c.book
	b.work("bridle", "What the rode must hold at the heading", "wind + sea + resistance of the water; the drift is that at which the canopy takes the rest", "wind by UFC 4-159-03 eq. 7; the rest derived here",
		val("psi", "wind off the bow, positive to starboard", r.at.Heading.Degrees(), "deg"), val("Xw", "wind along her, aft", air.AlongN, "N"), val("Yw", "wind across her, to port", air.AcrossN, "N"),
		result("X", "sum along her, aft", sum.AlongN, "N"), result("Y", "sum across her, to port", sum.AcrossN, "N"), result("N", "moment about the stem, bow to starboard", sum.MomentNM, "N m"),
		result("T", "pull in the rode, sqrt(X^2 + Y^2)", sum.RodeN, "N"), result("beta", "where the rode leads off the bow, atan2(Y, X)", sum.RodeLeads.Degrees(), "deg"), result("v", "drift", sum.DriftMS, "m/s"))
	values := []WorkingValue{
		val("x1", a.BowPoint+", aft of the stem", r.fore.FromBowM, "m"), val("y1", "the same, to starboard", r.fore.OffCentreM, "m"),
		result("l1", "bow leg", r.legs.Fore.LengthM, "m"), result("s1", "share of the rode's load on it", r.foreShare(), ""),
	}
	if r.aft != nil {
		values = append(values, val("x2", a.AftPoint+", aft of the stem", r.aft.FromBowM, "m"), val("y2", "the same, to starboard", r.aft.OffCentreM, "m"),
			result("l2", "aft leg", r.legs.Aft.LengthM, "m"), result("s2", "share of the rode's load on it", r.aftShare(), ""), val("gamma", "angle between the legs", r.legAngle.Degrees(), "deg"))
	}
	b.work("bridle", "Legs", "the rode's line passes through the resultant's; two pulls at the meeting point balance the rode: s1 = sin(beta2)/sin(gamma), s2 = sin(beta1)/sin(gamma), beta the angle of each leg with the rode", "statics; legs meet where 60 degrees between them allow, our rule", values...)
	b.work("bridle", "Does she stay", "stable where the moment that turns her back grows as she is turned away", "statics",
		result("k", "moment for each radian", r.at.StiffnessNMPerRad, "N m"), result("gust", "heading in the gust", a.GustDeg, "deg"))
	return nil
}
