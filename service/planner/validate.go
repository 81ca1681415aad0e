package planner

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
	"rideout/service/physics/seaway"
)

// Problem is one thing wrong with a request: where in the contract's body (a JSON pointer), what,
// and what to send instead.
type Problem struct {
	Pointer string
	Message string
	Fix     string
}

// InvalidError is returned for a request that Validate finds problems in.
type InvalidError struct{ Problems []Problem }

func (e *InvalidError) Error() string {
	p := e.Problems[0]
	return fmt.Sprintf("%d problems, the first at %s: %s", len(e.Problems), p.Pointer, p.Message)
}

// The limits of the model, beyond which nothing is computed.
const (
	maxWindKt     = 120.0
	maxHsM        = 25.0
	maxSteps      = 1000
	maxRodeTried  = 24
	maxSeeds      = 64
	maxCrew       = 30
	maxAgeYears   = 15.0
	leastDraughts = 2.0 // water depth in draughts
	leastOutM     = 5.0 // rode out
	leastRodeM    = 10.0
	mostRodeM     = 1000.0
)

// Validate returns everything that is wrong with a request, nil if nothing is. It checks what a
// schema cannot: values that do not fit together, and cases the model does not cover.
func Validate(r Request) []Problem {
	var c checker
	c.vessel(r.Vessel)
	c.calibration(r.Calibration)
	c.intent(r.Intent)
	if r.Gear != nil {
		c.gear(*r.Gear, r.Vessel)
	}
	c.rodeTried(r.RodeTried)
	c.forecast(r.Forecast, r.Vessel)
	c.assume(r.Assume)
	c.crew(r.Crew)
	if l := r.Lying; l != nil && l.RodeOutM != 0 {
		c.within("/lying/rode_out_m", "rode out", l.RodeOutM, leastOutM, mostRodeM, "m")
	}
	if r.Policy != nil {
		if err := r.Policy.Check(); err != nil {
			c.add("/policy", err.Error(), "correct the organisation's policy")
		}
	}
	if p := r.Position; p != nil {
		c.within("/position/latitude_deg", "latitude", p.LatitudeDeg, -90, 90, "deg")
		c.within("/position/longitude_deg", "longitude", p.LongitudeDeg, -180, 180, "deg")
	}
	if h := r.Wish.HeadingOffWind; h != nil {
		c.within("/wish/heading_off_wind_deg", "heading off the wind", h.Degrees(), 0, 90, "deg")
	}
	if d := r.Wish.DriftAtMostMS; d != nil {
		c.within("/wish/drift_at_most_kt", "drift wished", quantity.Knots(*d), 0.2, 10, "kt")
	}
	return c.problems
}

// ValidateForecast returns everything that is wrong with a forecast, whichever vessel it is for.
func ValidateForecast(f Forecast) []Problem {
	var c checker
	c.forecast(f, Vessel{})
	return c.problems
}

type checker struct{ problems []Problem }

func (c *checker) add(pointer, message, fix string) {
	c.problems = append(c.problems, Problem{pointer, message, fix})
}

// within reports a value outside its range, and tells whether it was inside.
func (c *checker) within(pointer, what string, v, least, most float64, unit string) bool {
	if v >= least && v <= most {
		return true
	}
	c.add(pointer, fmt.Sprintf("%s is %.6g %s", what, v, unit), fmt.Sprintf("send %.6g to %.6g %s", least, most, unit))
	return false
}

func (c *checker) vessel(v Vessel) {
	if err := v.Hull.Check(); err != nil {
		c.add("/vessel/hull", err.Error(), fmt.Sprintf("send one of %v", hull.Kinds()))
		return
	}
	ok := c.within("/vessel/loa_m", "length overall", v.LOAM, 3, 60, "m")
	if !ok {
		return
	}
	ok = c.within("/vessel/beam_m", "beam", v.BeamM, 0.1*v.LOAM, v.LOAM, "m") && ok
	ok = c.within("/vessel/draught_m", "draught", v.DraughtM, 0.1, 0.4*v.LOAM, "m") && ok
	if v.FreeboardM != 0 {
		c.within("/vessel/freeboard_m", "freeboard", v.FreeboardM, 0.1, v.LOAM/3, "m")
	}
	if v.LWLM != 0 {
		ok = c.within("/vessel/lwl_m", "waterline length", v.LWLM, 0.5*v.LOAM, v.LOAM, "m") && ok
	}
	if ok {
		c.floats(v)
	}
	for i, p := range v.Windage {
		c.windage(fmt.Sprintf("/vessel/windage/%d", i), p.FrontalAreaM2, p.LateralAreaM2, p.CentreHeightM, p.CentreFromBowM, p.ShapeCoefficient, v.LOAM)
	}
	for i, p := range v.StrongPoints {
		at := fmt.Sprintf("/vessel/strong_points/%d", i)
		c.within(at+"/from_bow_m", "distance from the bow", p.FromBowM, 0, v.LOAM, "m")
		c.within(at+"/off_centre_m", "distance off the centre line", p.OffCentreM, -v.BeamM/2-0.2, v.BeamM/2+0.2, "m")
		if p.WorkingLoadN != 0 {
			c.within(at+"/working_load_n", "working load", p.WorkingLoadN, 100, 1e7, "N")
		}
	}
	if v.WindlassPullN != 0 {
		c.within("/vessel/windlass_pull_n", "pull of the windlass", v.WindlassPullN, 100, 1e6, "N")
	}
	if v.DesignCategory != "" && len(v.DesignCategory) == 1 && (v.DesignCategory < "A" || v.DesignCategory > "D") || len(v.DesignCategory) > 1 {
		c.add("/vessel/design_category", fmt.Sprintf("design category is %q", v.DesignCategory), "send A, B, C or D")
	}
}

// floats checks that the displacement fits the hull's box.
func (c *checker) floats(v Vessel) {
	h := hullOf(v)
	var out *quantity.RangeError
	if err := h.Check(); errors.As(err, &out) {
		c.add("/vessel/displacement_kg",
			fmt.Sprintf("%s is %.6g %s; a box of waterline length %.4g m, beam %.4g m and draught %.4g m displaces %.0f kg of sea water",
				out.Name, out.Value, out.Unit, h.LWLM, h.BeamM, h.DraughtM, h.BoxKg()),
			"send the displacement in kg, or correct the sizes")
	}
}

func (c *checker) windage(at string, front, side, height, fromBow, cd, loaM float64) {
	c.within(at+"/frontal_area_m2", "frontal area", front, 0, 2000, "m2")
	c.within(at+"/lateral_area_m2", "lateral area", side, 0, 5000, "m2")
	c.within(at+"/centre_height_m", "height of the centre", height, 0.1, 100, "m")
	c.within(at+"/centre_from_bow_m", "distance of the centre from the bow", fromBow, -0.5*loaM, 1.5*loaM, "m")
	c.within(at+"/shape_coefficient", "shape coefficient", cd, 0.05, 3, "")
}

func (c *checker) intent(i Intent) {
	switch i {
	case RideOutStorm, SlowDrift, RepairOrRest, Drill:
	default:
		c.add("/intent", fmt.Sprintf("no intent %q", string(i)), "send ride_out_storm, slow_drift, repair_or_rest or drill")
	}
}

func (c *checker) gear(g Gear, v Vessel) {
	if g.Canopy != nil {
		if _, err := g.Canopy.Shape.Coefficients(); err != nil {
			c.add("/gear/canopy/shape", err.Error(), "send flat_circular, conical, hemispherical, cross or ringslot")
		}
		c.within("/gear/canopy/diameter_m", "nominal diameter", g.Canopy.DiameterM, 0.5, 30, "m")
	}
	if g.Rode != nil {
		c.rode(*g.Rode)
	}
	for i, s := range g.Shackles {
		c.within(fmt.Sprintf("/gear/shackles/%d/body_mm", i), "body", s.BodyMM, 6, 40, "mm")
		if s.WorkingLoadN != 0 {
			c.within(fmt.Sprintf("/gear/shackles/%d/working_load_n", i), "working load", s.WorkingLoadN, 100, 1e7, "N")
		}
		c.within(fmt.Sprintf("/gear/shackles/%d/off_line_deg", i), "angle off its line", s.OffLine.Degrees(), 0, 90, "deg")
	}
	for i, s := range g.Swivels {
		c.within(fmt.Sprintf("/gear/swivels/%d/working_load_n", i), "working load", s.WorkingLoadN, 100, 1e7, "N")
	}
	if g.Chain != nil {
		c.within("/gear/chain/size_mm", "size", g.Chain.SizeMM, 6, 20, "mm")
		c.within("/gear/chain/length_m", "length", g.Chain.LengthM, 0.1, 200, "m")
		if gr := g.Chain.Grade; gr != 30 && gr != 43 && gr != 70 {
			c.add("/gear/chain/grade", fmt.Sprintf("no chain grade %d", gr), "send 30, 43 or 70")
		}
	}
	if g.TripLine != nil {
		c.within("/gear/trip_line/length_m", "length", g.TripLine.LengthM, 1, 500, "m")
		if g.TripLine.DiameterMM != 0 {
			c.within("/gear/trip_line/diameter_mm", "diameter", g.TripLine.DiameterMM, 4, 40, "mm")
		}
	}
	if g.Float != nil {
		c.within("/gear/float/buoyancy_n", "buoyancy", g.Float.BuoyancyN, 1, 1e5, "N")
	}
	if b := g.Bridle; b != nil {
		c.rope("/gear/bridle", b.Construction, b.DiameterMM)
		c.within("/gear/bridle/leg_m", "length of a leg", b.LegM, 1, 100, "m")
		c.terminations("/gear/bridle/terminations", b.Terminations)
	}
	if s := g.Spare; s != nil {
		c.rope("/gear/spare_line", s.Construction, s.DiameterMM)
		c.within("/gear/spare_line/length_m", "length", s.LengthM, 2, 500, "m")
		if _, err := s.Knot.Retained(); err != nil {
			c.add("/gear/spare_line/knot", err.Error(), fmt.Sprintf("send one of %v", rode.Terminations()))
		}
	}
}

// rope checks that a rope is one there are figures for.
func (c *checker) rope(at string, construction rode.Construction, diameterMM float64) {
	least, most := rode.MinDiameterMM, rode.MaxThreeStrandDiameterMM
	switch construction {
	case rode.ThreeStrand, rode.Plaited:
	case rode.DoubleBraid:
		least, most = rode.MinDoubleBraidMM, rode.MaxDoubleBraidMM
	default:
		c.add(at+"/construction", fmt.Sprintf("no rope construction %q", string(construction)), fmt.Sprintf("send one of %v", rode.Constructions()))
	}
	c.within(at+"/diameter_mm", "diameter", diameterMM, least, most, "mm")
}

func (c *checker) terminations(at string, ends []rode.Termination) {
	for i, t := range ends {
		if _, err := t.Retained(); err != nil {
			c.add(fmt.Sprintf("%s/%d", at, i), err.Error(), fmt.Sprintf("send one of %v", rode.Terminations()))
		}
	}
}

func (c *checker) rode(r Rode) {
	c.rope("/gear/rode", r.Construction, r.DiameterMM)
	c.within("/gear/rode/length_m", "length", r.LengthM, leastRodeM, mostRodeM, "m")
	c.within("/gear/rode/age_years", "age", r.AgeYears, 0, maxAgeYears, "years")
	if r.BreakingN != 0 {
		c.within("/gear/rode/breaking_load_n", "breaking load", r.BreakingN, 1000, 1e7, "N")
	}
	c.within("/gear/rode/chafed_share", "share chafed through", r.ChafedShare, 0, 0.5, "of the section")
	c.terminations("/gear/rode/terminations", r.Terminations)
	if len(r.DataSheet) > 0 {
		c.dataSheet(r)
	}
}

func (c *checker) dataSheet(r Rode) {
	breaking := r.BreakingN
	if breaking == 0 {
		last := r.DataSheet[len(r.DataSheet)-1]
		c.add("/gear/rode/breaking_load_n", "a data sheet needs the breaking load it belongs to", fmt.Sprintf("send the breaking load in N, at least %.6g", last.LoadN))
		return
	}
	if _, _, err := rode.FitCurve(r.DataSheet, breaking); err != nil {
		c.add("/gear/rode/data_sheet", err.Error(), "send at least two readings with stretch from 0.0001 to 1 and load from 0 to the breaking load")
	}
}

func (c *checker) crew(hands []Hand) {
	if len(hands) > maxCrew {
		c.add("/crew", fmt.Sprintf("%d names", len(hands)), fmt.Sprintf("send at most %d", maxCrew))
	}
	for i, h := range hands {
		if h.Role != "" && !slices.Contains(crewRoles, h.Role) {
			c.add(fmt.Sprintf("/crew/%d/role", i), fmt.Sprintf("no role %q", h.Role), fmt.Sprintf("send one of %v", crewRoles))
		}
	}
}

func (c *checker) rodeTried(lengths []float64) {
	if len(lengths) > maxRodeTried {
		c.add("/rode_lengths_m", fmt.Sprintf("%d lengths", len(lengths)), fmt.Sprintf("send at most %d", maxRodeTried))
	}
	for i, l := range lengths {
		c.within(fmt.Sprintf("/rode_lengths_m/%d", i), "rode length", l, leastRodeM, mostRodeM, "m")
	}
}

func (c *checker) forecast(f Forecast, v Vessel) {
	switch n := len(f.Steps); {
	case n == 0:
		c.add("/forecast/steps", "no steps", "send at least one step with a time and a wind speed")
	case n > maxSteps:
		c.add("/forecast/steps", fmt.Sprintf("%d steps", n), fmt.Sprintf("send at most %d", maxSteps))
		return
	}
	for i, s := range f.Steps {
		at := fmt.Sprintf("/forecast/steps/%d", i)
		if s.Time.IsZero() {
			c.add(at+"/time", "no time", "send an RFC 3339 time in UTC")
		} else if i > 0 && !s.Time.After(f.Steps[i-1].Time) {
			c.add(at+"/time", "time does not run forward", "send steps in the order of their times, each time once")
		}
		c.step(at, s, v)
	}
}

func (c *checker) step(at string, s Step, v Vessel) {
	windOK := c.within(at+"/wind_speed_kt", "wind speed", quantity.Knots(s.WindMS), 0, maxWindKt, "kt")
	if s.GustMS != nil && c.within(at+"/gust_kt", "gust", quantity.Knots(*s.GustMS), 0, 2*maxWindKt, "kt") && windOK && *s.GustMS < s.WindMS*0.999 {
		c.add(at+"/gust_kt", fmt.Sprintf("gust of %.4g kt is below the wind of %.4g kt", quantity.Knots(*s.GustMS), quantity.Knots(s.WindMS)), "send the gust, or leave it out to have it estimated")
	}
	depth := math.Inf(1)
	if s.DepthM != nil && c.within(at+"/water_depth_m", "water depth", *s.DepthM, 0.5, 12000, "m") {
		depth = *s.DepthM
		if depth < leastDraughts*v.DraughtM {
			c.add(at+"/water_depth_m", fmt.Sprintf("water %.4g m deep is less than twice the draught", depth), "no sea anchor can be used there: plan for deeper water")
		}
	}
	c.waves(at+"/significant_wave_height_m", at+"/peak_period_s", s.HsM, s.TpS, depth)
	c.waves(at+"/swell_height_m", at+"/swell_peak_period_s", s.SwellHsM, s.SwellTpS, depth)
	if s.CurrentMS != nil {
		c.within(at+"/current_kt", "current", quantity.Knots(*s.CurrentMS), 0, 20, "kt")
	}
	c.direction(at+"/wind_from_deg", s.WindFrom)
	c.direction(at+"/wave_from_deg", s.WaveFrom)
	c.direction(at+"/current_toward_deg", s.CurrentToward)
}

func (c *checker) direction(pointer string, a *quantity.Angle) {
	if a != nil {
		c.within(pointer, "direction", a.Degrees(), 0, 360, "deg")
	}
}

// waves checks a height and its period against the depth.
func (c *checker) waves(heightAt, periodAt string, hs, tp *float64, depth float64) {
	if tp != nil {
		c.within(periodAt, "peak period", *tp, 1, 30, "s")
	}
	if hs == nil || !c.within(heightAt, "significant wave height", *hs, 0, maxHsM, "m") || math.IsInf(depth, 1) {
		return
	}
	period := 10.0
	if tp != nil && *tp >= 1 && *tp <= 30 {
		period = *tp
	}
	if limit, err := seaway.DepthLimitedHeight(period, depth); err == nil && *hs > limit {
		c.add(heightAt, fmt.Sprintf("a sea of %.4g m breaks everywhere in water %.4g m deep", *hs, depth), fmt.Sprintf("send at most %.3g m, or plan for deeper water", limit))
	}
}

func (c *checker) assume(a Assume) {
	for _, f := range []struct {
		name        string
		v           *float64
		least, most float64
		unit        string
	}{
		{"canopy_cd0", a.CanopyCd0, 0.05, 2.5, ""},
		{"canopy_inertia_kg", a.CanopyInertiaKg, 10, 1e7, "kg"},
		{"canopy_depth_m", a.CanopyDepthM, 0.5, 100, "m"},
		{"dynamic_stiffness", a.DynamicStiffness, 0, 20, "breaking loads"},
		{"static_a", a.StaticA, 0.01, 2, ""},
		{"relaxation_s", a.RelaxationS, 1, 1e5, "s"},
		{"rode_breaking_load_n", a.RodeBreakingLoadN, 1000, 1e7, "N"},
		{"hull_added_mass_share", a.HullAddedMassShare, 0, 2, ""},
		{"hull_drag_area_m2", a.HullDragAreaM2, 0, 500, "m2"},
		{"wave_drift_share", a.WaveDriftShare, 0, 10, ""},
		{"wind_force_n", a.WindForceN, 0, 1e6, "N"},
	} {
		if f.v != nil {
			c.within("/assume/"+f.name, f.name, *f.v, f.least, f.most, f.unit)
		}
	}
	if a.Seeds != nil {
		c.within("/assume/seeds", "seeds", float64(*a.Seeds), 2, maxSeeds, "")
	}
}

// hullOf is the underwater body of a vessel, its waterline estimated if need be.
func hullOf(v Vessel) hull.Hull {
	lwl := v.LWLM
	if lwl == 0 {
		lwl = hull.EstimateLWLM(v.Hull, v.LOAM)
	}
	return hull.Hull{Kind: v.Hull, LOAM: v.LOAM, LWLM: lwl, BeamM: v.BeamM, DraughtM: v.DraughtM, DisplacementKg: v.DisplacementKg}
}
