package planner

import (
	"fmt"
	"math"
	"time"
)

// Changes is what is different between two plans of a vessel, most important first.
type Changes struct {
	From    string   `json:"from"` // ids
	To      string   `json:"to"`
	Summary string   `json:"summary"`
	Changes []Change `json:"changes"`
}

// Change is one figure or verdict that differs. Numbers have both values and their unit; words have the
// texts alone.
type Change struct {
	What   string   `json:"what"`
	Before *float64 `json:"before,omitempty"`
	After  *float64 `json:"after,omitempty"`
	Unit   string   `json:"unit,omitempty"`
	Text   string   `json:"text"`
	Worse  bool     `json:"worse"` // asks more of crew or gear than before
}

// Compare says what changed from one plan of a vessel to another: pay-out, peaks, hours, sea room. Differences
// within the Monte-Carlo error of the peaks, and of less than a tenth of a knot or a minute, are none.
func Compare(from, to Plan) Changes {
	d := differences{from: from, to: to}
	d.loads()
	d.phases()
	d.hours()
	d.seaRoom()
	d.gear()
	c := Changes{From: from.ID, To: to.ID, Changes: d.found}
	if c.Changes == nil {
		c.Changes = []Change{}
	}
	c.Summary = d.summary()
	return c
}

type differences struct {
	from, to Plan
	found    []Change
}

func (d *differences) number(what string, before, after, least float64, unit string, worse bool) {
	if math.Abs(after-before) < least {
		return
	}
	in := ""
	if unit != "" {
		in = " " + unit
	}
	d.found = append(d.found, Change{What: what, Before: &before, After: &after, Unit: unit, Worse: worse, Text: fmt.Sprintf("%s: %g%s, before %g%s", what, after, in, before, in)})
}

func (d *differences) words(what, before, after string, worse bool) {
	if before != after {
		d.found = append(d.found, Change{What: what, Text: fmt.Sprintf("%s: %s; before: %s", what, after, before), Worse: worse})
	}
}

func (d *differences) loads() {
	a, b := d.from, d.to
	d.number("rode to pay out in the worst phase", a.Rode.PayOutM, b.Rode.PayOutM, 1, "m", b.Rode.PayOutM > a.Rode.PayOutM)
	error95 := 2 * math.Hypot(a.Loads.PeakStandardErrorN.Mid, b.Loads.PeakStandardErrorN.Mid)
	d.number("peak load", a.Loads.PeakN.Mid, b.Loads.PeakN.Mid, math.Max(error95, 0.02*a.Loads.PeakN.Mid), "N", b.Loads.PeakN.Mid > a.Loads.PeakN.Mid)
	d.number("drift", a.Loads.DriftKt.Mid, b.Loads.DriftKt.Mid, 0.1, "kt", b.Loads.DriftKt.Mid > a.Loads.DriftKt.Mid)
}

// phases compares the phases both have, and names those only one has.
func (d *differences) phases() {
	named := func(p Plan) map[string]Phase {
		all := map[string]Phase{}
		for _, ph := range p.Phases {
			all[ph.Name] = ph
		}
		return all
	}
	before, after := named(d.from), named(d.to)
	for i := len(classes) - 1; i >= 0; i-- {
		name := classes[i].name
		a, hadIt := before[name]
		b, hasIt := after[name]
		switch {
		case hasIt && !hadIt:
			d.words("phase "+words(name), "none", fmt.Sprintf("from %s for %.0f h", clock(b.From), b.Hours), i > 0)
		case hadIt && !hasIt:
			d.words("phase "+words(name), fmt.Sprintf("from %s for %.0f h", clock(a.From), a.Hours), "none", false)
		case hasIt:
			d.instant(words(name)+" begins", &a.From, &b.From)
			d.number("hours of "+words(name), a.Hours, b.Hours, 0.5, "h", i > 0 && b.Hours > a.Hours)
			d.number("rode in "+words(name), a.PayOutM, b.PayOutM, 1, "m", b.PayOutM > a.PayOutM)
		}
	}
}

// hours compares when each thing is to be done for the first time.
func (d *differences) hours() {
	first := func(p Plan, action string) *Hour {
		for i := range p.Hours {
			if p.Hours[i].Action == action {
				return &p.Hours[i]
			}
		}
		return nil
	}
	for _, action := range []string{"rig", "deploy", "retrieve"} {
		a, b := first(d.from, action), first(d.to, action)
		if a == nil || b == nil {
			continue
		}
		d.words(action, words(a.Verdict), words(b.Verdict), b.Verdict == "too_late" || b.Verdict == "not_in_forecast")
		if action == "retrieve" {
			d.instant("retrieve, at the earliest", a.From, b.From)
			continue
		}
		d.instant(action+", at the latest", a.Until, b.Until)
	}
}

// instant compares two instants; an earlier one asks more of the crew, a later one in retrieving does.
func (d *differences) instant(what string, before, after *time.Time) {
	if before == nil || after == nil || before.Sub(*after).Abs() < time.Minute {
		return
	}
	moved := after.Sub(*before).Hours()
	text := fmt.Sprintf("%s: %s, %.1f h later than before", what, clock(*after), moved)
	if moved < 0 {
		text = fmt.Sprintf("%s: %s, %.1f h earlier than before", what, clock(*after), -moved)
	}
	d.found = append(d.found, Change{What: what, Text: text, Worse: (moved < 0) != (what == "retrieve, at the earliest")})
}

func (d *differences) seaRoom() {
	a, b := d.from.SeaRoom, d.to.SeaRoom
	if a == nil || b == nil {
		return
	}
	d.number("probability of a shore or hazard", a.ProbabilityAshore, b.ProbabilityAshore, 0.01, "", b.ProbabilityAshore > a.ProbabilityAshore)
	switch x, y := a.TimeToLeeShoreH.Low, b.TimeToLeeShoreH.Low; {
	case x != nil && y != nil:
		d.number("earliest time to a shore or hazard", *x, *y, 0.5, "h", *y < *x)
	case y != nil:
		d.words("earliest time to a shore or hazard", "not within the forecast", fmt.Sprintf("%.1f h", *y), true)
	case x != nil:
		d.words("earliest time to a shore or hazard", fmt.Sprintf("%.1f h", *x), "not within the forecast", false)
	}
	if x, y := a.NearestHazard, b.NearestHazard; x != nil && y != nil {
		d.number("closest approach to a shore or hazard", x.ClosestNM, y.ClosestNM, 0.5, "nmi", y.ClosestNM < x.ClosestNM)
	}
}

func (d *differences) gear() {
	a, b := d.from, d.to
	d.words("canopy", a.Canopy.Verdict, b.Canopy.Verdict, a.Canopy.Verdict == "suits")
	d.words("rode", a.Rode.Verdict, b.Rode.Verdict, a.Rode.Verdict == "suits")
	x, y := governingUse(a), governingUse(b)
	d.number("use of the weakest part", x, y, 0.02, "", y > x)
	if p, q := a.Bridle, b.Bridle; p != nil && q != nil {
		d.number("heading off the wind", p.HeadingDeg, q.HeadingDeg, 2, "deg", false)
		d.number("bow leg", p.BowLegM, q.BowLegM, 0.2, "m", false)
		d.number("aft leg", p.AftLegM, q.AftLegM, 0.2, "m", false)
	}
}

func governingUse(p Plan) float64 {
	for _, h := range p.Hardware {
		if h.Governing {
			return h.Use
		}
	}
	return 0
}

func (d *differences) summary() string {
	worse := 0
	for _, c := range d.found {
		if c.Worse {
			worse++
		}
	}
	switch {
	case len(d.found) == 0:
		return "Nothing of note has changed."
	case worse == 0:
		return fmt.Sprintf("%d changes, none of which asks more of crew or gear. First: %s.", len(d.found), d.found[0].Text)
	}
	for _, c := range d.found {
		if c.Worse {
			return fmt.Sprintf("%d changes, %d of which ask more of crew or gear. First of those: %s.", len(d.found), worse, c.Text)
		}
	}
	return ""
}
