package forecast

import (
	"fmt"
	"math"
	"time"

	"rideout/service/physics/quantity"
	"rideout/service/planner"
)

// stepsOf puts the series together. The steps are of use only where p stays empty.
func stepsOf(times []time.Time, all map[role]series, p *problems) (steps []planner.Step, periodsZero int) {
	if all[wind] == nil && (all[windEast] == nil || all[windNorth] == nil) {
		return nil, 0 // reported already
	}
	windless, firstWindless := 0, 0
	for i, t := range times {
		speedMS, from := vector(all, i, wind, windFrom, windEast, windNorth)
		if speedMS == nil {
			if windless++; windless == 1 {
				firstWindless = i
			}
			continue
		}
		if from != nil && all[windFrom].at(i) == nil { // components point to where the wind blows
			*from = (*from + math.Pi).Normalised()
		}
		s := planner.Step{Time: t, WindMS: *speedMS, WindFrom: from, GustMS: all[gust].at(i), DepthM: all[depth].at(i)}
		s.CurrentMS, s.CurrentToward = vector(all, i, current, currentToward, currentEast, currentNorth)
		setSea(&s, all, i)
		periodsZero += dropZeroPeriods(&s)
		steps = append(steps, s)
	}
	if windless > 0 {
		p.add(fmt.Sprintf("/domain/axes/t/values/%d", firstWindless), fmt.Sprintf("there is no wind speed for this time (%s in all)", counted(windless, "time")),
			"give the wind for every time, or leave the time out")
	}
	return steps, periodsZero
}

// vector gives a speed and a direction, each from its own series or else from the components. The
// direction from components is toward; there is none where both are zero.
func vector(all map[role]series, i int, speedRole, directionRole, east, north role) (*float64, *quantity.Angle) {
	speedMS, direction := all[speedRole].at(i), asAngle(all[directionRole].at(i))
	e, n := all[east].at(i), all[north].at(i)
	if e == nil || n == nil {
		return speedMS, direction
	}
	if speedMS == nil {
		v := math.Hypot(*e, *n)
		speedMS = &v
	}
	if direction == nil && (*e != 0 || *n != 0) {
		a := quantity.Angle(math.Atan2(*e, *n)).Normalised()
		direction = &a
	}
	return speedMS, direction
}

// setSea sets the two partitions where both heights are given, else the total sea. Energy is not
// taken apart: swell beside a total without its wind sea is left out, for the total has it already.
func setSea(s *planner.Step, all map[role]series, i int) {
	total, windSea, swell := all[hs].at(i), all[windSeaHs].at(i), all[swellHs].at(i)
	switch {
	case windSea != nil && swell != nil:
		s.HsM, s.TpS = windSea, all[windSeaTp].at(i)
		s.SwellHsM, s.SwellTpS = swell, all[swellTp].at(i)
		s.WaveFrom = asAngle(all[windSeaFrom].at(i))
	case total != nil || swell == nil && windSea == nil:
		s.HsM, s.TpS = total, all[tp].at(i)
	case windSea != nil:
		s.HsM, s.TpS = windSea, all[windSeaTp].at(i)
		s.WaveFrom = asAngle(all[windSeaFrom].at(i))
	default:
		s.SwellHsM, s.SwellTpS = swell, all[swellTp].at(i)
	}
	if s.WaveFrom == nil {
		s.WaveFrom = asAngle(all[waveFrom].at(i))
	}
}

func asAngle(radians *float64) *quantity.Angle {
	if radians == nil {
		return nil
	}
	a := quantity.Angle(*radians)
	return &a
}

// dropZeroPeriods takes a period of zero, which services write for a flat sea, as missing.
func dropZeroPeriods(s *planner.Step) (dropped int) {
	for _, periodS := range []**float64{&s.TpS, &s.SwellTpS} {
		if *periodS != nil && **periodS == 0 {
			*periodS = nil
			dropped++
		}
	}
	return dropped
}
