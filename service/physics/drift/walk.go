package drift

import (
	"math"
	"math/rand/v2"

	"rideout/service/physics/geo"
)

// walk carries particles through one case.
type walk struct {
	frame     frame
	steps     []step
	obstacles Obstacles
}

// particle is what stays with one particle. The zero value is the vessel without errors.
type particle struct {
	start geo.XY
	place [Modes]float64 // in the bands of speed, in standard deviations
	off   [Modes]float64 // share of the divergence, negative to the left
}

// chance is where a particle's errors come from: what stays with it, and its sides, from one stream, the errors
// of wind and current from another, so that these are the same whatever the spans are.
type chance struct{ lot, noise rand.PCG }

// seed gives a particle its own streams.
func (c *chance) seed(seed uint64, number int) {
	const golden = 0x9e3779b97f4a7c15 // 2^64 over the golden ratio: successive numbers come to lie far apart
	stream := (uint64(number) + 1) * golden
	c.lot.Seed(seed, stream)
	c.noise.Seed(^seed, stream)
}

// draw makes a particle; sigmaM is the standard deviation of each component of its start.
func (w *walk) draw(lot *rand.Rand, sigmaM float64) particle {
	var p particle
	for m := range Modes {
		p.place[m] = lot.NormFloat64()
		p.off[m] = 2*lot.Float64() - 1
	}
	p.start = w.drawStart(lot, sigmaM)
	return p
}

// drawStart places a particle about the given start. She floats: a place beyond a shore is drawn again, and after
// some tries the given place is taken.
func (w *walk) drawStart(lot *rand.Rand, sigmaM float64) geo.XY {
	for range 16 {
		at := geo.XY{EastM: sigmaM * lot.NormFloat64(), NorthM: sigmaM * lot.NormFloat64()}
		if w.obstacles == nil {
			return at
		}
		if _, _, beyond := w.obstacles.Crossing(geo.XY{}, at); !beyond {
			return at
		}
	}
	return geo.XY{}
}

// place95 is the standard normal deviate that 95 % stay below.
const place95 = 1.6448536269514722

// speed returns the speed at a place in the band: normal to either side of Mid, with Low and High at the 5 % and
// 95 % points, and never less than nothing.
func (s *Span) speed(place float64) float64 {
	width := s.SpeedMS.High - s.SpeedMS.Mid
	if place < 0 {
		width = s.SpeedMS.Mid - s.SpeedMS.Low
	}
	return math.Max(0, s.SpeedMS.Mid+width*place/place95)
}

// landfall is where and when a particle met an obstacle.
type landfall struct {
	ashore bool
	line   int
	atH    float64
}

// wander is the unit processes of one particle.
type wander struct{ wind, direction, east, north, side float64 }

func (e *wander) advance(s *step, lot, noise *rand.Rand) {
	e.wind = s.windKept*e.wind + s.windNew*noise.NormFloat64()
	e.direction = s.windKept*e.direction + s.windNew*noise.NormFloat64()
	e.east = s.currentKept*e.east + s.currentNew*noise.NormFloat64()
	e.north = s.currentKept*e.north + s.currentNew*noise.NormFloat64()
	if s.switches > 0 && lot.Float64() < s.switches {
		e.side = -e.side
	}
}

// velocity returns where a particle goes, over the ground toward true east and north, in m/s.
func (p *particle) velocity(s *step, e *wander) (eastMS, northMS float64) {
	through := s.speed(p.place[s.Mode]) * math.Max(0, 1+s.windShare*e.wind)
	toward := s.Toward.Radians() + s.windDirection*e.direction + s.Divergence.Radians()*p.off[s.Mode]*e.side
	sin, cos := math.Sincos(toward)
	return s.CurrentEastMS + s.currentMS*e.east + through*sin, s.CurrentNorthMS + s.currentMS*e.north + through*cos
}

// run carries a particle to the end or ashore, where it stays, and calls keep with its place at every mark. Without
// streams of chance there are no errors of wind and current.
//
// The frame is taken in the middle of each step, foreseen with that of the step before: second order in the step.
func (w *walk) run(p particle, lot, noise *rand.Rand, keep func(mark int, at geo.XY)) landfall {
	at, e := p.start, wander{side: 1}
	var end landfall
	keep(0, at)
	turned := w.frame.at(at)
	for i := range w.steps {
		s := &w.steps[i]
		if !end.ashore {
			if noise != nil {
				e.advance(s, lot, noise)
			}
			eastMS, northMS := p.velocity(s, &e)
			seconds := s.hours * secondsPerHour
			turned = w.frame.at(turned.apply(at, eastMS, northMS, seconds/2))
			at, end = w.meet(at, turned.apply(at, eastMS, northMS, seconds), s)
		}
		if s.mark > 0 {
			keep(s.mark, at)
		}
	}
	return end
}

// meet ends a step at the first obstacle on its way.
func (w *walk) meet(from, to geo.XY, s *step) (geo.XY, landfall) {
	if w.obstacles == nil {
		return to, landfall{}
	}
	line, share, ok := w.obstacles.Crossing(from, to)
	if !ok {
		return to, landfall{}
	}
	share = math.Min(math.Max(share, 0), 1)
	at := geo.XY{EastM: from.EastM + share*(to.EastM-from.EastM), NorthM: from.NorthM + share*(to.NorthM-from.NorthM)}
	return at, landfall{ashore: true, line: line, atH: s.fromH + share*s.hours}
}
