package planner

import (
	"fmt"
	"math"
	"slices"
)

// What a plan says to a vessel that lies to her sea anchor already: nothing of rigging and deploying, but what is to be
// done with the rode from now on.

// rodeOutM is how much of the rode carried is out; 0: she does not lie to it, or it is not known.
func rodeOutM(r Request, carriedM float64) float64 {
	if r.Lying == nil {
		return 0
	}
	return math.Min(r.Lying.RodeOutM, carriedM)
}

// placeLying has her lie to it from the present on.
func (c *computation) placeLying(t *timetable) {
	now := Span{t.now, t.now}
	t.rig, t.brief, t.deploy, t.settle = now, now, now, now
	if t.payOutM = rodeOutM(c.request, c.carriedM); t.payOutM == 0 {
		t.payOutM = c.firstPayOutM(t)
	}
}

// atOnce says what is to be done with the rode as the plan begins, and gives what is out then.
func (c *computation) atOnce(t *timetable, s stretch) (Hour, float64) {
	p, out, asked := c.plan.Phases[s.phase], t.payOutM, c.firstPayOutM(t)
	h := Hour{Action: "hold", Verdict: inTime, PayOutM: &out, Why: fmt.Sprintf("She lies to it already, in the %s: %s.", words(p.Name), t.state(t.now))}
	if first := t.course.hours[0].at; t.now.Before(first) {
		h.Why = fmt.Sprintf("She lies to it already. The forecast begins %s with %s, and says nothing of the hours before.", clock(first), t.state(first))
	}
	span := Span{t.now, earlier(t.now.Add(inHours(adjustTakesH)), s.Until)}
	switch {
	case c.request.Lying.RodeOutM == 0:
		h.Action = "adjust"
		h.Text = fmt.Sprintf("How much rode is out was not reported. See that it is %.0f m at the least; more harms nothing.", out) + t.fromShelter(span)
	case asked <= out+notWorthShifting:
		span = s.Span
		h.Text = fmt.Sprintf("Keep %.0f m out.", out)
		if asked < out-notWorthShifting {
			h.Text += fmt.Sprintf(" %.0f m would do, but shortening is work at a loaded rode for little.", asked)
		}
	case t.noTimeFor(inHours(adjustTakesH)):
		h = t.tooLateToPayOut(h, out, asked)
	default:
		h.Action, h.PayOutM = "adjust", &asked
		h.Text = fmt.Sprintf("Pay out from %.0f m to %.0f m at once.", out, asked) + t.darkText(span)
		return t.placed(h, span), asked
	}
	return t.placed(h, span), out
}

// tooLateToPayOut is said where more rode is asked for than is out, and the wind forbids the work.
func (t *timetable) tooLateToPayOut(h Hour, out, asked float64) Hour {
	h.Action, h.Verdict, h.PayOutM = "adjust", tooLate, &asked
	h.Text = fmt.Sprintf("Too late to pay out safely: %.0f m are out, %.0f m are asked for, and wind or gusts of %.0f kt forbid work forward.", out, asked, t.policy.NoDeckAboveKt)
	if lull, ok := t.course.below(t.now, adjustTakesH, windPasses(t.policy.NoDeckAboveKt), gustPasses(t.policy.NoDeckAboveKt)); ok {
		h.Text += fmt.Sprintf(" The next lull for it begins %s.", clock(lull.From))
	} else {
		h.Text += " The forecast has no lull for it."
	}
	h.Text += " Whether rode is eased before that, under a turn and clipped on, is the skipper's decision alone."
	return h
}

// payingOut is the first hour at which a vessel that lies to it has to pay out more than is out.
func payingOut(p Plan) (Hour, bool) {
	if p.Lying == nil {
		return Hour{}, false
	}
	i := slices.IndexFunc(p.Hours, func(h Hour) bool {
		return h.Action == "adjust" && h.PayOutM != nil && *h.PayOutM > p.Lying.RodeOutM+notWorthShifting
	})
	if i < 0 {
		return Hour{}, false
	}
	return p.Hours[i], true
}

// warnOfRodeOut holds what is out against what is carried, and against what the worst phase asks for.
func (c *computation) warnOfRodeOut() {
	l := c.request.Lying
	if l == nil {
		return
	}
	out := rodeOutM(c.request, c.carriedM)
	if l.RodeOutM > out+notWorthShifting {
		c.book.warn("rode_out_over_carried", "%.0f m are said to be out, of a rode of %.0f m. One of the two is wrong: look, and send it again. All of the rode is taken to be out.", l.RodeOutM, c.carriedM)
	}
	at := slices.IndexFunc(c.curve, func(s study) bool { return s.lengthM == out })
	if at < 0 || out >= c.paid(c.worst)-notWorthShifting {
		return
	}
	peak := found(c.curve[at]).peakN
	c.book.warn("rode_out_short", "On the %.0f m that are out the peak of the %s would be %s kN, %.0f %% of what the weakest part may carry, and %.0f %% of it at the high end; this plan asks for %.0f m.",
		out, words(c.plan.Phases[c.worst].Name), kilo(peak.mid), 100*peak.mid/c.capacityN, 100*peak.high/c.capacityN, c.paid(c.worst))
}
