package api

import (
	"fmt"
	"time"

	"rideout/openapi"
	"rideout/service"
	"rideout/service/physics/quantity"
	"rideout/service/planner"
)

// Years a time may lie in. Beyond them it is a slip, and some cannot be written back.
const (
	firstYear = 1900
	lastYear  = 2200
)

// requestOf turns the contract's form, all but vessel, gear, forecast and hazards, into the domain's: knots into m/s,
// degrees into angles, absent into nil or zero as the domain's fields say.
func requestOf(b openapi.PlanRequest) planner.Request {
	req := planner.Request{Intent: planner.Intent(b.Intent), RodeTried: b.RodeLengthsM}
	if p := b.Position; p != nil {
		req.Position = &planner.Position{LatitudeDeg: p.LatitudeDeg, LongitudeDeg: p.LongitudeDeg}
	}
	if w := b.Wish; w != nil {
		req.Wish = planner.Wish{HeadingOffWind: angle(w.HeadingOffWindDeg), DriftAtMostMS: speed(w.DriftAtMostKt)}
	}
	if l := b.Lying; l != nil {
		req.Lying = &planner.Lying{RodeOutM: or(l.RodeOutM, 0)}
	}
	for _, h := range b.Crew {
		req.Crew = append(req.Crew, planner.Hand{Name: h.Name, Role: string(or(h.Role, ""))})
	}
	if a := b.Assume; a != nil {
		req.Assume = planner.Assume{
			CanopyCd0: a.CanopyCd0, CanopyInertiaKg: a.CanopyInertiaKg, CanopyDepthM: a.CanopyDepthM,
			DynamicStiffness: a.DynamicStiffness, StaticA: a.StaticA, RelaxationS: a.RelaxationS,
			RodeBreakingLoadN: a.RodeBreakingLoadN, HullAddedMassShare: a.HullAddedMassShare,
			HullDragAreaM2: a.HullDragAreaM2, WaveDriftShare: a.WaveDriftShare, WindForceN: a.WindForceN, Seeds: a.Seeds,
		}
	}
	return req
}

func forecastOf(b openapi.ForecastSteps) (planner.Forecast, []service.FieldError) {
	f := planner.Forecast{Source: or(b.Source, ""), Steps: make([]planner.Step, 0, len(b.Steps))}
	var problems []service.FieldError
	if b.IssuedAt != nil {
		f.IssuedAt = b.IssuedAt.UTC()
		problems = checkYear(problems, f.IssuedAt, "/forecast/issued_at")
	}
	for i, s := range b.Steps {
		step := stepOf(s)
		problems = checkYear(problems, step.Time, fmt.Sprintf("/forecast/steps/%d/time", i))
		f.Steps = append(f.Steps, step)
	}
	return f, problems
}

func stepOf(s openapi.ForecastStep) planner.Step {
	return planner.Step{
		Time: s.Time.UTC(), WindMS: quantity.MetresPerSecond(s.WindSpeedKt), GustMS: speed(s.GustKt), WindFrom: angle(s.WindFromDeg),
		HsM: s.SignificantWaveHeightM, TpS: s.PeakPeriodS, WaveFrom: angle(s.WaveFromDeg),
		SwellHsM: s.SwellHeightM, SwellTpS: s.SwellPeakPeriodS,
		CurrentMS: speed(s.CurrentKt), CurrentToward: angle(s.CurrentTowardDeg), DepthM: s.WaterDepthM,
	}
}

func checkYear(problems []service.FieldError, at time.Time, pointer string) []service.FieldError {
	if y := at.Year(); y >= firstYear && y <= lastYear {
		return problems
	}
	return append(problems, service.FieldError{
		Pointer: pointer, Message: fmt.Sprintf("must lie in the years %d to %d", firstYear, lastYear), Fix: "correct the year",
	})
}

// or gives what was sent, else what absence stands for.
func or[T any](sent *T, absent T) T {
	if sent == nil {
		return absent
	}
	return *sent
}

func speed(kt *float64) *float64 {
	if kt == nil {
		return nil
	}
	ms := quantity.MetresPerSecond(*kt)
	return &ms
}

func angle(deg *float64) *quantity.Angle {
	if deg == nil {
		return nil
	}
	a := quantity.Degrees(*deg)
	return &a
}
