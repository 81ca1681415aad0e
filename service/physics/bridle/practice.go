package bridle

import (
	"rideout/service/physics/constant"
	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
)

// CommonPractice is the source of what the trade does.
const CommonPractice = "common practice of the trade, no source"

// SquareLegsPerBeam is the least length of each leg of a multihull's bridle, in beams.
var SquareLegsPerBeam = constant.Value{Value: 2.5, Unit: "beams", Source: CommonPractice}

// Practice returns the heading off the wind at which the trade has hulls of a kind lie, to be shown beside
// the computed one: power vessels about 30 degrees off, sailing vessels with one hull about 75, multihulls
// square on a leg from each bow. Source: CommonPractice.
func Practice(k hull.Kind) (quantity.Angle, error) {
	if err := k.Check(); err != nil {
		return 0, err
	}
	switch k {
	case hull.SailMonohull:
		return quantity.Degrees(75), nil
	case hull.SailMultihull:
		return 0, nil
	default:
		return quantity.Degrees(30), nil
	}
}

// Square returns the bridle of a multihull that is to lie square to the wind: a leg from each bow, as long
// as practice asks (SquareLegsPerBeam). Legs.Fore is that to port. Shares tells what each bears when the wind shifts
// before she turns: beyond half the angle between the legs one has all of it.
func Square(port, starboard Point, beamM float64) (Legs, error) {
	if err := quantity.Within("beam", beamM, 0.5, 100, "m"); err != nil {
		return Legs{}, err
	}
	each := SquareLegsPerBeam.Value * beamM
	l := Legs{Leg{port, each}, Leg{starboard, each}}
	return l, l.Check()
}
