package api

import (
	"fmt"
	"time"

	"rideout/openapi"
	"rideout/service"
	"rideout/service/physics/canopy"
	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
	"rideout/service/physics/wind"
	"rideout/service/planner"
)

const maxSteps = 1000

// Years a time may lie in. Beyond them it is a slip, and some cannot be written back.
const (
	firstYear = 1900
	lastYear  = 2200
)

// requestOf turns the contract's form, all but its forecast and hazards, into the domain's: knots into m/s,
// degrees into angles, absent into nil or zero as the domain's fields say.
func requestOf(b openapi.PlanRequest) planner.Request {
	req := planner.Request{Vessel: vesselOf(b.Vessel), Intent: planner.Intent(b.Intent), RodeTried: b.RodeLengthsM}
	if b.Gear != nil {
		req.Gear = gearOf(*b.Gear)
	}
	if p := b.Position; p != nil {
		req.Position = &planner.Position{LatitudeDeg: p.LatitudeDeg, LongitudeDeg: p.LongitudeDeg}
	}
	if w := b.Wish; w != nil {
		req.Wish = planner.Wish{HeadingOffWind: angle(w.HeadingOffWindDeg), DriftAtMostMS: speed(w.DriftAtMostKt)}
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

func vesselOf(b openapi.Vessel) planner.Vessel {
	v := planner.Vessel{
		Name: b.Name, Hull: hull.Kind(b.Hull), LOAM: b.LoaM, LWLM: or(b.LwlM, 0), BeamM: b.BeamM, DraughtM: b.DraughtM,
		FreeboardM: or(b.FreeboardM, 0), DisplacementKg: b.DisplacementKg, DesignCategory: string(or(b.DesignCategory, "")),
		WindlassPullN: or(b.WindlassPullN, 0), CallSign: or(b.CallSign, ""), MMSI: or(b.Mmsi, ""),
	}
	for _, p := range b.Windage {
		v.Windage = append(v.Windage, wind.Part{
			Name: p.Part, FrontalAreaM2: p.FrontalAreaM2, LateralAreaM2: p.LateralAreaM2,
			CentreHeightM: p.CentreHeightM, CentreFromBowM: p.CentreFromBowM, ShapeCoefficient: or(p.ShapeCoefficient, 1),
		})
	}
	for _, p := range b.StrongPoints {
		v.StrongPoints = append(v.StrongPoints, planner.StrongPoint{
			Name: p.Name, FromBowM: p.FromBowM, OffCentreM: p.OffCentreM, WorkingLoadN: or(p.WorkingLoadN, 0),
		})
	}
	return v
}

func gearOf(b openapi.Gear) *planner.Gear {
	g := &planner.Gear{}
	if c := b.Canopy; c != nil {
		g.Canopy = &planner.Canopy{Shape: canopy.Shape(c.Shape), DiameterM: c.DiameterM}
	}
	if b.Rode != nil {
		g.Rode = rodeOf(*b.Rode)
	}
	for _, s := range b.Shackles {
		g.Shackles = append(g.Shackles, planner.Shackle{BodyMM: s.BodyMm, WorkingLoadN: or(s.WorkingLoadN, 0), OffLine: quantity.Degrees(or(s.OffLineDeg, 0))})
	}
	for _, s := range b.Swivels {
		g.Swivels = append(g.Swivels, planner.Swivel{WorkingLoadN: s.WorkingLoadN})
	}
	if c := b.Chain; c != nil {
		g.Chain = &planner.Chain{SizeMM: c.SizeMm, Grade: int(c.Grade), LengthM: c.LengthM}
	}
	if t := b.TripLine; t != nil {
		g.TripLine = &planner.TripLine{LengthM: t.LengthM, DiameterMM: or(t.DiameterMm, 0)}
	}
	if f := b.Float; f != nil {
		g.Float = &planner.Float{BuoyancyN: f.BuoyancyN}
	}
	if l := b.Bridle; l != nil {
		g.Bridle = &planner.Bridle{Construction: rode.Construction(l.Construction), DiameterMM: l.DiameterMm, LegM: l.LegM, Terminations: terminationsOf(l.Terminations)}
	}
	if l := b.SpareLine; l != nil {
		g.Spare = &planner.Spare{Construction: rode.Construction(l.Construction), DiameterMM: l.DiameterMm, LengthM: l.LengthM, Knot: rode.Termination(l.Knot)}
	}
	g.Chafe = or(b.ChafeGear, false)
	return g
}

// terminationsOf takes the contract's names of terminations, which are the domain's.
func terminationsOf[T ~string](sent []T) []rode.Termination {
	var list []rode.Termination
	for _, t := range sent {
		list = append(list, rode.Termination(t))
	}
	return list
}

func rodeOf(b openapi.Rode) *planner.Rode {
	r := &planner.Rode{
		Construction: rode.Construction(b.Construction), DiameterMM: b.DiameterMm, LengthM: b.LengthM,
		BreakingN: or(b.BreakingLoadN, 0), AgeYears: or(b.AgeYears, 0),
		ChafedShare: or(b.ChafedShare, 0), Terminations: terminationsOf(b.Terminations),
	}
	for _, p := range b.DataSheet {
		r.DataSheet = append(r.DataSheet, rode.Point{Stretch: p.Stretch, LoadN: p.LoadN})
	}
	return r
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
