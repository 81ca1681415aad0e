package drift

import (
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// Growth is a standard deviation that grows with the forecast's lead time: from First at the start, in a straight
// line, to Last after OverH hours, and no more. Their middle estimates are used. The zero value is no error.
type Growth struct {
	First, Last constant.Coefficient
	OverH       float64
}

// At returns the standard deviation so many hours into the forecast.
func (g Growth) At(leadH float64) float64 {
	if leadH >= g.OverH {
		return g.Last.Mid
	}
	return g.First.Mid + (g.Last.Mid-g.First.Mid)*leadH/g.OverH
}

// Spread is how wrong forecast and position may be; the middle estimate of each is used. The zero value is no error.
//
// Errors of the wind's speed and direction, and of the current's components, are independent of each other. Each is a
// standard deviation times a Gaussian Ornstein-Uhlenbeck process, whose correlation falls by e over its time scale.
type Spread struct {
	WindShare     Growth               // of the wind's speed, as a share of it, 0 to 1
	WindDirection Growth               // rad, 0 to 2
	WindScaleH    constant.Coefficient // time scale of both
	CurrentMS     constant.Coefficient // of each component of the current, 0 to 2 m/s
	CurrentScaleH constant.Coefficient
	PositionM     constant.Coefficient // radius about the given start that holds her with a chance of a half; circular normal
	SwitchPerH    constant.Coefficient // how often, in an hour, she comes to lie off the wind on the other side
}

const ourChoice = "our choice, no source"

func coefficient(low, mid, high float64, source string) constant.Coefficient {
	return constant.Coefficient{Band: quantity.Band{Low: low, Mid: mid, High: high}, Source: source}
}

// DefaultSpread returns the errors assumed where nothing better is known, each with its source. Most are our choice:
// they must be shown wherever a result is.
func DefaultSpread() Spread {
	deg := math.Pi / 180
	return Spread{
		WindShare: Growth{
			First: coefficient(0.05, 0.10, 0.15, ourChoice+"; about 1.5 m/s in a gale, the size of buoy checks of global forecasts after a day, from memory"),
			Last:  coefficient(0.12, 0.18, 0.25, ourChoice+"; about 3 m/s in a gale, the size of buoy checks of global forecasts after three days, from memory"),
			OverH: 72,
		},
		WindDirection: Growth{
			First: coefficient(5*deg, 10*deg, 15*deg, ourChoice),
			Last:  coefficient(15*deg, 25*deg, 40*deg, ourChoice),
			OverH: 72,
		},
		WindScaleH: coefficient(6, 12, 24, ourChoice+"; a forecast is wrong for about as long as a front takes to pass"),
		// 0.3 kn within which half of the errors lie, over 1.1774, for each component
		CurrentMS:     coefficient(0.07, 0.131, 0.25, "0.3 kn of probable error of the total water current where it is not known, the custom of the IAMSAR manual, from memory"),
		CurrentScaleH: coefficient(6, 24, 72, ourChoice+"; between the tide and an eddy"),
		PositionM:     coefficient(20, 185.2, 1852, "0.1 NM of fix error by GPS: National Search and Rescue Manual (Australia), appendix J, table J-1"),
		SwitchPerH:    coefficient(0, 0.04, 0.1, "4 % in an hour, the value built into an open drift model after Breivik and Allen (2008), J. Marine Systems 69, 99-113"),
	}
}

func (s Spread) check() error {
	const tiny = math.SmallestNonzeroFloat64
	winds := s.WindShare != Growth{} || s.WindDirection != Growth{}
	for _, c := range []struct {
		name        string
		v, min, max float64
		unit        string
		needed      bool
	}{
		{"first error of the wind's speed", s.WindShare.First.Mid, 0, 1, "of it", true},
		{"last error of the wind's speed", s.WindShare.Last.Mid, 0, 1, "of it", true},
		{"growth of the error of the wind's speed", s.WindShare.OverH, 0, math.MaxFloat64, "h", true},
		{"first error of the wind's direction", s.WindDirection.First.Mid, 0, 2, "rad", true},
		{"last error of the wind's direction", s.WindDirection.Last.Mid, 0, 2, "rad", true},
		{"growth of the error of the wind's direction", s.WindDirection.OverH, 0, math.MaxFloat64, "h", true},
		{"time scale of the wind's errors", s.WindScaleH.Mid, tiny, math.MaxFloat64, "h", winds},
		{"error of the current", s.CurrentMS.Mid, 0, 2, "m/s", true},
		{"time scale of the current's errors", s.CurrentScaleH.Mid, tiny, math.MaxFloat64, "h", s.CurrentMS.Mid != 0},
		{"error of the start", s.PositionM.Mid, 0, 200e3, "m", true},
		{"rate of changing sides", s.SwitchPerH.Mid, 0, 100, "1/h", true},
	} {
		if !c.needed {
			continue
		}
		if err := quantity.Within(c.name, c.v, c.min, c.max, c.unit); err != nil {
			return err
		}
	}
	return nil
}
