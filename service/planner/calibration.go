package planner

import (
	"fmt"
	"math"

	"rideout/service/physics/canopy"
	"rideout/service/physics/quantity"
)

// Calibration is what an organisation's outcomes teach of a vessel and her canopy, as an input like any other: whoever has
// the request has all that the plan depends on. How it was learnt is package calibration's.
type Calibration struct {
	Apply    bool       `json:"apply"`          // compute with the factors; else they are only told
	Why      string     `json:"why"`            // they are applied or not
	Outcomes int        `json:"outcomes"`       // observations the fleet's estimate rests on
	Windage  Learnt     `json:"windage_factor"` // on the steady push: wind force and mean wave drift
	Drag     Learnt     `json:"drag_factor"`    // on the canopy's drag
	Drift    Learnt     `json:"drift_factor"`   // what both make of a drift
	Outliers []Outlying `json:"outliers"`
	Notes    []string   `json:"notes"` // what the outcomes cannot tell
}

// Learnt is a factor: its 5, 50 and 95 % quantiles, and how far it rests on outcomes of the thing itself.
type Learnt struct {
	Band
	Observations  int     `json:"observations"`
	ShrunkToFleet float64 `json:"shrunk_to_fleet"` // 1: the fleet speaks for it
}

// Outlying is an observation that was kept and counts little.
type Outlying struct {
	ObservationID string  `json:"observation_id"`
	Kind          string  `json:"kind"` // drift, load
	Weight        float64 `json:"weight"`
	Text          string  `json:"text"`
}

// CalibrationStated is what a plan says of it.
type CalibrationStated struct {
	Used     bool       `json:"used"`
	Why      string     `json:"why"`
	Outcomes int        `json:"outcomes"`
	Windage  Learnt     `json:"windage_factor"`
	Drag     Learnt     `json:"drag_factor"`
	Drift    Learnt     `json:"drift_factor"`
	Outliers []Outlying `json:"outliers"`
	Notes    []string   `json:"notes"`
	Effect   *Effect    `json:"effect"` // nil: no outcomes, or a case the comparison does not cover
}

// Effect sets figures of the worst phase with the factors beside those without.
type Effect struct {
	PeakN   Pair   `json:"peak_n"`
	MeanN   Pair   `json:"mean_n"`
	DriftKt Pair   `json:"drift_kt"`
	PayOutM Pair   `json:"pay_out_m"`
	Method  string `json:"method"`
	Text    string `json:"text"`
}

// Pair is a figure both ways.
type Pair struct {
	Without float64 `json:"without"`
	With    float64 `json:"with"`
}

// Factors beyond these are not computed with: they are a sign of wrong records sooner than of a wrong model. Our choice.
const (
	leastFactor = 0.4
	mostFactor  = 2.5
)

// InReach tells whether a factor is one to compute with.
func (l Learnt) InReach() bool { return l.Low >= leastFactor && l.High <= mostFactor }

func (c *Calibration) applies() bool { return c != nil && c.Apply }

// drag gives the factor to compute with; the zero band is none.
func (c *Calibration) drag() Band {
	if !c.applies() {
		return Band{}
	}
	return c.Drag.Band
}

func (c *Calibration) windage() Band {
	if !c.applies() {
		return Band{}
	}
	return c.Windage.Band
}

const learntSource = "learnt from the organisation's outcomes, see calibration"

func (c *checker) calibration(given *Calibration) {
	if given == nil || !given.Apply {
		return
	}
	for i, f := range []Learnt{given.Windage, given.Drag} {
		name := []string{"windage", "drag"}[i]
		if !f.InReach() || f.Low > f.Mid || f.Mid > f.High {
			c.add("", fmt.Sprintf("the %s factor learnt runs from %.3g over %.3g to %.3g", name, f.Low, f.Mid, f.High), "switch use_calibration off in the policy, and look at the outcomes")
		}
	}
}

// cut makes a canopy of a size, with the drag it is taken to have.
func (g rig) cut(shape canopy.Shape, diameterM float64, a Assume) (canopy.Canopy, error) {
	c, err := canopy.New(shape, diameterM)
	switch {
	case err != nil:
		return c, err
	case a.CanopyCd0 != nil:
		return c.WithCd0(quantity.Exactly(*a.CanopyCd0))
	case g.drag.Mid > 0:
		return c.WithCd0(g.drag.Scale(c.Cd0().Mid))
	}
	return c, nil
}

// calibrate applies the windage factor: areas stand for the force on them, and its band takes the place of the spread of an
// estimate.
func (s *ship) calibrate(f Band, b *book) {
	if f.Mid == 0 {
		return
	}
	s.push = f.Mid
	s.windBand = f.Scale(1 / f.Mid)
	parts := append(s.windage[:0:0], s.windage...)
	for i := range parts {
		parts[i].FrontalAreaM2 *= f.Mid
		parts[i].LateralAreaM2 *= f.Mid
	}
	s.windage = parts
	b.assume("factor on wind force and mean wave drift", f, "", learntSource, "areas of the windage are multiplied by its middle, and so is the mean wave drift")
}

// sayCalibration states in the plan whether what was learnt is used and what it changes.
func (c *computation) sayCalibration() error {
	given := c.request.Calibration
	if given == nil {
		return nil
	}
	said := &CalibrationStated{
		Used: given.Apply, Why: given.Why, Outcomes: given.Outcomes,
		Windage: given.Windage, Drag: given.Drag, Drift: given.Drift,
		Outliers: append([]Outlying{}, given.Outliers...), Notes: append([]string{}, given.Notes...),
	}
	c.plan.Calibration = said
	if given.Apply {
		c.book.warn("calibrated", "The figures are computed with what the organisation's outcomes teach: push of wind and waves times %.2f, drag of the canopy times %.2f. In weather unlike that of the outcomes such factors are an extrapolation; what they change is under calibration.", given.Windage.Mid, given.Drag.Mid)
	}
	if given.Outcomes == 0 || !given.Windage.InReach() || !given.Drag.InReach() {
		return nil
	}
	effect, err := c.effect(*given)
	if _, ok := uncovered(err).(*InvalidError); ok {
		return nil // the other case is outside the theory: no reason to keep this one from anybody
	}
	said.Effect = effect
	return err
}

const effectMethod = "The same phase, hour and gear both ways. Drift and mean load by the balance of forces and by the screen in the frequency domain; " +
	"the peak of the way not computed in the time domain is this plan's, times the ratio of the screened peaks at the same length; the pay-out " +
	"by the same rule on peaks so scaled. Hardware, bridle, sea room and hours are not computed a second time."

// effect compares the worst phase both ways: with the factors and without.
func (c *computation) effect(given Calibration) (*Effect, error) {
	x := c.spells[c.worst].worst
	other := c.request
	turned := given
	turned.Apply = !given.Apply
	other.Calibration = &turned
	y, err := c.otherSituation(other, x.hour)
	if err != nil {
		return nil, err
	}
	lengths, err := c.screenCurve(y)
	if err != nil {
		return nil, err
	}
	for i, t := range c.tried() {
		moved := lengths[i].peakN.over(c.screens[i].peakN)
		lengths[i].peakN = ends{t.peakN.mid * moved.mid, t.peakN.high * moved.high}
	}
	at, _ := payOut(lengths, c.carriedM, shortestM(y), c.policy.SlackLimit, c.capacityN)
	paid := c.at[c.worst]
	ours, err := c.glance(x, paid)
	if err != nil {
		return nil, err
	}
	theirs, err := c.glance(y, paid)
	if err != nil {
		return nil, err
	}
	theirs[0], theirs[3] = lengths[paid].peakN.mid, lengths[at].lengthM
	without, with := theirs, ours
	if !given.Apply {
		without, with = ours, theirs
	}
	e := &Effect{Method: effectMethod}
	for i, p := range []*Pair{&e.PeakN, &e.MeanN, &e.DriftKt, &e.PayOutM} {
		round := []func(float64) float64{math.Round, math.Round, r2, func(m float64) float64 { return m }}[i]
		*p = Pair{round(without[i]), round(with[i])}
	}
	e.Text = effectText(*e, given.Apply)
	return e, nil
}

// glance gives peak, mean, drift and pay-out of a situation, on the length paid out. The mean is the screen's.
func (c *computation) glance(x situation, paid int) (figures [4]float64, err error) {
	l := c.curve[paid].lengthM
	drift, err := x.driftKt(l)
	if err != nil {
		return figures, err
	}
	got, err := x.screen(l, allMid)
	return [4]float64{c.curve[paid].loads[1].PeakN(), got.MeanN, drift.Mid, l}, err
}

// otherSituation is the hour for another request of the same vessel and gear.
func (c *computation) otherSituation(r Request, h hour) (situation, error) {
	s, err := resolveShip(r, &book{})
	if err != nil {
		return situation{}, err
	}
	g := c.rig
	g.drag = r.Calibration.drag()
	if g.canopy, err = g.cut(g.canopy.Shape(), g.canopy.DiameterM(), r.Assume); err != nil {
		return situation{}, err
	}
	return newSituation(s, g, r.Assume, h)
}

func effectText(e Effect, used bool) string {
	verb := "would change"
	if used {
		verb = "changes"
	}
	return fmt.Sprintf("In the worst phase what was learnt %s the peak from %.0f to %.0f N, the drift from %.2f to %.2f kt and the rode to pay out from %.0f to %.0f m.",
		verb, e.PeakN.Without, e.PeakN.With, e.DriftKt.Without, e.DriftKt.With, e.PayOutM.Without, e.PayOutM.With)
}

func (x situation) calibrated() bool { return x.rig.drag.Mid > 0 }

func (g rig) cd0Source() string {
	if g.drag.Mid > 0 {
		return learntSource
	}
	return canopy.Cd0Source
}
