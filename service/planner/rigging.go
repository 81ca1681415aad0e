package planner

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"rideout/service/physics/bridle"
	"rideout/service/physics/hardware"
	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
)

// rigging is the way the rode is made fast, as settled by the hardest hour.
type rigging struct {
	lying    bridle.Lying
	legs     bridle.Legs
	fore     StrongPoint
	aft      *StrongPoint // nil: a single rode
	square   bool
	wished   quantity.Angle // signed: positive with the wind to starboard
	at       bridle.Equilibrium
	legAngle quantity.Angle
	least    quantity.Angle // headings the points hold
	greatest quantity.Angle
	lacking  bool // a heading off the wind is wished and there is no second point
}

// leastApartM is how far two strong points must lie from each other to make a bridle, our choice.
const leastApartM = 1.0

// lyingTo is the vessel lying to a canopy in a situation, for the statics of bridle and yaw.
func lyingTo(x situation) bridle.Lying {
	head, beam := x.ship.hull.HeadDriftN(x.screened), x.ship.hull.BeamDriftN(x.screened)
	y := bridle.Lying{
		Hull: x.ship.hull, Parts: x.ship.windage, CanopyDragAreaM2: x.rig.canopy.Cd0().Mid * x.rig.canopy.NominalAreaM2(),
		Weather: bridle.Weather{WindMS: math.Max(x.hour.windMS, 1), HeadDriftN: head.Mid, BeamDriftN: beam.Mid},
	}
	if x.hour.windFrom != nil && x.hour.waveFrom != nil {
		y.Weather.SeaOffWind = quantity.Angle(math.Remainder(float64(*x.hour.waveFrom-*x.hour.windFrom), 2*math.Pi))
	}
	return y
}

// makeFast settles how the rode is made fast in a situation. It refuses a wished heading that the
// strong points given cannot hold, and names the nearest they can.
func (c *computation) makeFast(x situation) error {
	c.rigging = rigging{lying: lyingTo(x), fore: bowPoint(x.ship)}
	r := &c.rigging
	wished := x.ship.heading
	var err error
	switch {
	case wished.Degrees() < 1 && x.ship.Hull == hull.SailMultihull && r.fromBothBows(x.ship.StrongPoints):
		err = r.setSquare(x.ship.BeamM)
	case wished.Degrees() < 1:
		r.legs = bridle.Plain(pointOf(r.fore))
	default:
		if err = c.setLegs(x.ship, wished); err != nil {
			return err
		}
	}
	if err != nil {
		return err
	}
	r.at, err = r.lying.Settle(r.legs, r.wished)
	return err
}

// bowPoint is the strong point nearest the bow and the centre line; the stem where none is given.
func bowPoint(s ship) StrongPoint {
	if len(s.StrongPoints) == 0 {
		return StrongPoint{Name: "bow strong point"}
	}
	return slices.MinFunc(s.StrongPoints, func(p, q StrongPoint) int {
		return sign(math.Hypot(p.FromBowM, 2*p.OffCentreM) - math.Hypot(q.FromBowM, 2*q.OffCentreM))
	})
}

func pointOf(p StrongPoint) bridle.Point {
	return bridle.Point{Name: p.Name, FromBowM: p.FromBowM, OffCentreM: p.OffCentreM}
}

// fromBothBows finds the strong points of a multihull's two bows, port and starboard.
func (r *rigging) fromBothBows(points []StrongPoint) bool {
	farthest := func(side float64) (best StrongPoint, ok bool) {
		for _, p := range points {
			if p.FromBowM < 0.25*r.lying.Hull.LOAM && side*p.OffCentreM > math.Max(0.25*r.lying.Hull.BeamM, side*best.OffCentreM) {
				best, ok = p, true
			}
		}
		return best, ok
	}
	port, hasPort := farthest(-1)
	starboard, hasStarboard := farthest(1)
	if hasPort && hasStarboard {
		r.fore, r.aft = port, &starboard
	}
	return hasPort && hasStarboard
}

func (r *rigging) setSquare(beamM float64) (err error) {
	r.square = true
	if r.legs, err = bridle.Square(pointOf(r.fore), pointOf(*r.aft), beamM); err != nil {
		return err
	}
	reach := math.Abs(r.aft.OffCentreM-r.fore.OffCentreM) / 2
	r.legAngle = quantity.Angle(2 * math.Asin(math.Min(1, reach/r.legs.Fore.LengthM)))
	r.least, r.greatest = -r.legAngle/2, r.legAngle/2
	return nil
}

// setLegs sets two legs for a heading off the wind, from the bow and the point that holds it with the
// least load on the aft leg.
func (c *computation) setLegs(s ship, wished quantity.Angle) error {
	r := &c.rigging
	r.legs, r.wished = bridle.Plain(pointOf(r.fore)), wished
	limits := bridle.Limits{LongestLegM: c.longestLegM(s)}
	var set *bridle.Bridle
	var refused *bridle.Refusal
	for _, p := range s.StrongPoints {
		if p.OffCentreM == 0 || p.FromBowM < r.fore.FromBowM+leastApartM {
			continue
		}
		heading := quantity.Angle(math.Copysign(float64(wished), p.OffCentreM))
		got, err := r.lying.Set(pointOf(r.fore), pointOf(p), heading, limits)
		var refusal *bridle.Refusal
		switch {
		case errors.As(err, &refusal):
			if refused == nil || nearer(refusal, refused, wished) {
				refused = refusal
			}
		case err != nil:
			return err
		case set == nil || got.AftShare < set.AftShare:
			set, r.aft, r.wished = &got, &p, heading
			if r.least, r.greatest, _, err = r.lying.Range(pointOf(r.fore), pointOf(p), limits); err != nil {
				return err
			}
		}
	}
	switch {
	case set != nil:
		r.legs, r.legAngle = set.Legs, set.LegAngle
		return nil
	case refused == nil:
		r.lacking = true
		return nil
	case c.request.Wish.HeadingOffWind == nil:
		return c.takeNearest(s, refused)
	}
	return refusedHeading(refused)
}

// takeNearest sets the legs for the nearest heading that can be held, where none was wished.
func (c *computation) takeNearest(s ship, refused *bridle.Refusal) error {
	if refused.Nearest == nil {
		c.rigging.lacking = true
		return nil
	}
	nearest := math.Abs(refused.Nearest.Degrees())
	if math.Abs(nearest-c.rigging.wished.Degrees()) < 0.5 {
		c.rigging.lacking = true
		return nil
	}
	return c.setLegs(s, quantity.Degrees(nearest))
}

// nearer tells whether a refusal's nearest heading is nearer to the one wished than another's.
func nearer(a, b *bridle.Refusal, wished quantity.Angle) bool {
	off := func(r *bridle.Refusal) float64 {
		if r.Nearest == nil {
			return math.Inf(1)
		}
		return math.Abs(math.Abs(r.Nearest.Degrees()) - wished.Degrees())
	}
	return off(a) < off(b)
}

// refusedHeading is the problem of a wished heading that cannot be held.
func refusedHeading(r *bridle.Refusal) error {
	why := map[bridle.Reason]string{
		bridle.LineOutside: "the pull would not pass between the strong points, so one leg would have to push",
		bridle.Unstable:    "she would not stay there",
		bridle.LegsTooLong: "the legs would be longer than the line there is",
		bridle.ToLeeward:   "the second strong point is to leeward",
	}[r.Reason]
	p := Problem{Pointer: "/wish/heading_off_wind_deg", Message: fmt.Sprintf("these strong points cannot hold her %.0f degrees off the wind: %s", math.Abs(r.Heading.Degrees()), why), Fix: "leave the heading out to lie bow to the wind, or send another strong point farther aft"}
	if r.Nearest != nil {
		p.Fix = fmt.Sprintf("send %.0f deg, the nearest these strong points hold, or another strong point", math.Abs(r.Nearest.Degrees()))
	}
	return &InvalidError{[]Problem{p}}
}

// longestLegM is the longest leg there is line for; 0: no limit but the package's.
func (c *computation) longestLegM(s ship) float64 {
	g := c.request.Gear
	switch {
	case g == nil:
		return 0
	case g.Bridle != nil:
		return g.Bridle.LegM
	case g.Spare != nil:
		return math.Min(2*s.LOAM, g.Spare.LengthM-sparedForKnotsM)
	}
	return 0
}

// sparedForKnotsM is the length of a spare line that goes into its knots and belays, our choice.
const sparedForKnotsM = 2.0

// legStrength is the strength of the rope of each leg: that of the bridle or spare line carried, else of
// the rode.
func legStrength(g rig, gear *Gear) (fore, aft rode.Strength, err error) {
	fore, aft = g.strength, g.strength
	switch {
	case gear == nil:
	case gear.Bridle != nil:
		ends := gear.Bridle.Terminations
		if len(ends) == 0 {
			ends = usualTerminations
		}
		aft, err = rode.StrengthOf(gear.Bridle.Construction, gear.Bridle.DiameterMM, ends, rode.Condition{})
		fore = aft
	case gear.Spare != nil:
		aft, err = rode.StrengthOf(gear.Spare.Construction, gear.Spare.DiameterMM, []rode.Termination{gear.Spare.Knot}, rode.Condition{})
	}
	return fore, aft, err
}

// legLinks are the parts a bridle adds to the chain: its legs and its second strong point, each under
// its share of the rode's load.
func (r rigging) legLinks(s ship, g rig, gear *Gear, b *book) ([]hardware.Link, error) {
	if r.aft == nil {
		return nil, nil
	}
	fore, aft, err := legStrength(g, gear)
	if err != nil {
		return nil, err
	}
	chain, err := strongPoint(s, *r.aft, b)
	if err != nil {
		return nil, err
	}
	for i := range chain {
		chain[i] = chain[i].Sharing(r.aftShare())
	}
	return append(chain, leg("bow leg of the bridle", fore, r.foreShare()), leg("aft leg of the bridle", aft, r.aftShare())), nil
}

func leg(name string, s rode.Strength, share float64) hardware.Link {
	l := hardware.Rode(name, s).Sharing(share)
	l.Kind = hardware.KindBridleLeg
	return l
}

// squareShare is the greater leg's share of a multihull's, with the wind shifted and her not turned yet: one then bears
// more than half.
func (r rigging) squareShare() float64 {
	fore, aft, err := r.legs.Shares(quantity.Degrees(bridle.GustShift.Value))
	if err != nil {
		return 1
	}
	return math.Max(fore, aft)
}

func (r rigging) foreShare() float64 {
	switch {
	case r.aft == nil:
		return 1
	case r.square:
		return r.squareShare()
	}
	return r.at.ForeShare
}

func (r rigging) aftShare() float64 {
	if r.square {
		return r.squareShare()
	}
	return r.at.AftShare
}
