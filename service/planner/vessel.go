package planner

import (
	"fmt"
	"math"

	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
	"rideout/service/physics/wind"
)

// ship is the vessel with all that was not given filled in.
type ship struct {
	Vessel
	hull       hull.Hull
	heading    quantity.Angle // off the wind, at which loads are computed
	addedShare float64        // of the displacement, along the rode
	dragAreaM2 float64        // CdA along the rode
	alongM     float64        // length of the hull along the sea
	windage    []wind.Part
	windBand   Band    // of the wind force about its middle; zero: it is taken as known
	push       float64 // factor learnt on the mean wave drift
}

// resolveShip fills in the vessel and notes what was assumed.
func resolveShip(r Request, b *book) (ship, error) {
	s := ship{Vessel: r.Vessel, hull: hullOf(r.Vessel), windage: r.Vessel.Windage, push: 1}
	if r.Vessel.LWLM == 0 {
		b.assume("waterline length", quantity.Exactly(s.hull.LWLM), "m", "our estimate from hull kind and length overall; no source", "not given")
	}
	if len(s.windage) == 0 {
		if err := s.estimateWindage(b); err != nil {
			return ship{}, err
		}
	}
	s.calibrate(r.Calibration.windage(), b)
	s.heading = lyingHeading(r, b)
	s.resolveWater(r.Assume, b)
	return s, nil
}

func (s *ship) estimateWindage(b *book) error {
	freeboard := s.FreeboardM
	if freeboard == 0 {
		freeboard = math.Min(hull.EstimateFreeboardM(s.Hull, s.LOAM), s.LOAM/3)
		b.assume("freeboard", quantity.Exactly(freeboard), "m", "our estimate from hull kind and length overall; no source", "not given")
	}
	parts, err := wind.Estimate(s.Hull, s.LOAM, s.BeamM, freeboard)
	if err != nil {
		return fmt.Errorf("estimate the windage: %w", err)
	}
	s.windage = parts
	front, side := 0.0, 0.0
	for _, p := range parts {
		front, side = front+p.FrontalAreaM2, side+p.LateralAreaM2
	}
	spread := wind.EstimateSpread()
	s.windBand = spread.Band
	b.assume("frontal windage area", spread.Scale(front), "m2", "proportions of hulls of the kind, our estimate; "+spread.Source, "no areas given: measure them, or send what the builder states")
	b.assume("lateral windage area", spread.Scale(side), "m2", "proportions of hulls of the kind, our estimate; "+spread.Source, "no areas given: measure them, or send what the builder states")
	return nil
}

// lyingHeading is the heading off the wind loads are computed at.
func lyingHeading(r Request, b *book) quantity.Angle {
	if h := r.Wish.HeadingOffWind; h != nil {
		return *h
	}
	if r.Intent == SlowDrift {
		b.assume("heading off the wind", quantity.Exactly(90), "deg", "common practice, no source", "a slow drift for fishing is lain to beam-on unless a heading is wished")
		return quantity.Degrees(90)
	}
	b.assume("heading off the wind", quantity.Exactly(0), "deg", "our choice", "no heading wished: loads are for lying bow to wind and sea")
	return 0
}

// resolveWater finds mass, drag and length along the rode at the heading: between bow-to and
// beam-on they are shared by the squares of cosine and sine, our interpolation.
func (s *ship) resolveWater(a Assume, b *book) {
	c2 := math.Cos(s.heading.Radians()) * math.Cos(s.heading.Radians())
	s2 := 1 - c2
	added := quantity.Band{}
	for _, f := range []struct {
		b Band
		w float64
	}{{hull.AddedMassSurge.Band, c2}, {hull.AddedMassSway.Band, s2}} {
		added = quantity.Band{Low: added.Low + f.w*f.b.Low, Mid: added.Mid + f.w*f.b.Mid, High: added.High + f.w*f.b.High}
	}
	s.addedShare = added.Mid
	if a.HullAddedMassShare != nil {
		s.addedShare = *a.HullAddedMassShare
		b.given("hull_added_mass_share", s.addedShare, "")
	} else {
		b.assume("added mass along the rode", added, "of displacement", hull.AddedMassSurge.Source+"; beam-on: "+hull.AddedMassSway.Source, "no trial of the hull")
	}
	astern, beam := s.hull.DragAreaAsternM2(), s.hull.DragAreaBeamM2()
	drag := Band{Low: c2*astern.Low + s2*beam.Low, Mid: c2*astern.Mid + s2*beam.Mid, High: c2*astern.High + s2*beam.High}
	s.dragAreaM2 = drag.Mid
	if a.HullDragAreaM2 != nil {
		s.dragAreaM2 = *a.HullDragAreaM2
		b.given("hull_drag_area_m2", s.dragAreaM2, "m2")
	} else {
		b.assume("hull drag area CdA along the rode", drag, "m2", hull.FormDragAstern.Source+"; beam-on: "+hull.FormDragBeam.Source, "no trial of the hull")
	}
	s.alongM = math.Sqrt(c2*s.hull.LWLM*s.hull.LWLM + s2*s.BeamM*s.BeamM)
}

// massKg is the displacement and the water that moves with it along the rode.
func (s ship) massKg() float64 { return s.DisplacementKg * (1 + s.addedShare) }

// windForceN is the force along the wind in N at the vessel's heading, in a 10 min mean wind at 10 m.
func (s ship) windForceN(u10MS float64) (float64, error) {
	l, err := wind.Force(s.windage, u10MS, s.heading, wind.DesignAveragingS)
	if err != nil {
		return 0, err
	}
	h := s.heading.Radians()
	return math.Max(0, l.AlongN*math.Cos(h)+math.Abs(l.AcrossN)*math.Sin(h)), nil
}
