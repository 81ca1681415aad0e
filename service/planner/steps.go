package planner

import (
	"fmt"
	"math"
)

// Instruction is one step of the work on deck, with its reason and its hazard.
type Instruction struct {
	Stage  string `json:"stage"` // prepare, deploy, lie, retrieve, trouble
	Number int    `json:"number"`
	Who    string `json:"who"` // a role of the crew
	Do     string `json:"do"`
	Why    string `json:"why"`
	Hazard string `json:"hazard"`
}

// orderOfWork marks the facts of the trade. It is said once, in the first step.
const orderOfWork = "The order of work and its reasons are common practice of the trade, no source; figures are this plan's."

// deck is the work under hand: what is carried, and the steps so far.
type deck struct {
	c     *computation
	p     *Plan
	gear  Gear
	stage string
	list  []Instruction
}

// instructions writes the steps for this hull, this gear and this plan's figures.
func (c *computation) instructions() error {
	d := deck{c: c, p: &c.plan}
	if c.request.Gear != nil {
		d.gear = *c.request.Gear
	}
	stages := []struct {
		stage string
		write func()
	}{{"prepare", d.prepare}, {"deploy", d.deploy}, {"lie", d.lie}, {"retrieve", d.retrieve}, {"trouble", d.trouble}}
	if c.request.Lying != nil {
		stages = stages[2:]
	}
	for _, s := range stages {
		d.stage = s.stage
		s.write()
	}
	c.plan.Steps = d.list
	c.warnOfFilling()
	return nil
}

// do adds a step to the stage.
func (d *deck) do(who, do, why, hazard string) {
	n := 1
	if k := len(d.list); k > 0 && d.list[k-1].Stage == d.stage {
		n = d.list[k-1].Number + 1
	}
	d.list = append(d.list, Instruction{d.stage, n, who, do, why, hazard})
}

// firstM is the rode to have out when she begins to lie.
func (d *deck) firstM() float64 { return d.c.timetable.payOutM }

// mostM is the most rode any phase asks for.
func (d *deck) mostM() float64 { return d.c.mostRode().PayOutM }

// snubs are the lengths at which the rode is held while it is paid out: a boat length, then a third and two
// thirds of what is to go out; common practice.
func (d *deck) snubs() []float64 {
	total, loa := d.firstM(), d.c.request.Vessel.LOAM
	lengths := []float64{math.Round(math.Min(loa, total))}
	for _, m := range []float64{total / 3, 2 * total / 3} {
		if m = math.Round(m); m > lengths[len(lengths)-1]+2 {
			lengths = append(lengths, m)
		}
	}
	return lengths
}

// twoLegs tells whether she lies to two legs from one side, or from both bows.
func (d *deck) twoLegs() bool { return d.p.Bridle.AftPoint != "" }

// windward names the side the gear goes over.
func (d *deck) windward() string {
	if s := d.p.Bridle.Side; s != "ahead" {
		return s
	}
	return "windward"
}

// legLine names the line the second leg is made of.
func (d *deck) legLine() string {
	switch {
	case d.gear.Bridle != nil:
		return fmt.Sprintf("the bridle (%.0f mm)", d.gear.Bridle.DiameterMM)
	case d.gear.Spare != nil:
		return fmt.Sprintf("the spare line (%.0f mm), bent on with a %s", d.gear.Spare.DiameterMM, words(string(d.gear.Spare.Knot)))
	}
	return fmt.Sprintf("a line of at least the rode's %.0f mm; none is named among the gear", d.p.Rode.DiameterMM)
}

// canopyText names the canopy and says when it is not aboard.
func (d *deck) canopyText() string {
	if d.p.Canopy.CarriedDiameterM == nil {
		return fmt.Sprintf("the canopy (%.1f m recommended, none is carried yet)", d.p.Canopy.UsedDiameterM)
	}
	return fmt.Sprintf("the %.1f m canopy", d.p.Canopy.UsedDiameterM)
}

func (d *deck) rodeText() string {
	if d.p.Rode.CarriedM == nil {
		return fmt.Sprintf("the rode (%.0f m of %.0f mm recommended, none is carried yet)", d.c.carriedM, d.p.Rode.DiameterMM)
	}
	return fmt.Sprintf("the rode (%.0f m of %.0f mm)", d.c.carriedM, d.p.Rode.DiameterMM)
}

// warnOfFilling holds the load of the filling canopy against the weakest part.
func (c *computation) warnOfFilling() {
	switch f := c.plan.Canopy.FillingLoadN; {
	case f.Mid > c.capacityN:
		c.book.warn("filling_over_capacity", "The canopy filling on a short, held rode can pull %s kN; the weakest part may carry %s kN. Let the rode run under a turn while it fills, never stop it dead.", kilo(f.Mid), kilo(c.capacityN))
	case f.High > c.capacityN:
		c.book.warn("filling_over_capacity_at_high_end", "At the high end the filling canopy can pull %s kN; the weakest part may carry %s kN. Let the rode run under a turn while it fills.", kilo(f.High), kilo(c.capacityN))
	}
}
