package planner

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// Rule for the interval of the watch on the rode, ours: the policy's interval in settled weather, divided by one and a
// sum of what wears the rode and how bad the weather is; half of it where nothing made for it guards the fairlead. A
// snap counts by the load it brings: the many of a calm wear nothing.
const (
	perPhase         = 0.5   // for each step from calm over strong wind and gale to storm
	snapsPerUnit     = 300.0 // snaps an hour, about every second wave, that double what the load counts
	fatiguePerUnit   = 0.01  // share of the rode's life an hour that does
	unguarded        = 0.5   // of the interval
	shortestWatchH   = 0.25  // and its rounding
	notWorthShifting = 0.999 // m of rode between two phases
)

// watchEveryH is the interval of the watch on the rode in a phase, h.
func (c *computation) watchEveryH(p Phase) float64 {
	use := p.DesignPeakN / c.capacityN
	worse := perPhase * float64(slices.IndexFunc(classes, func(k class) bool { return k.name == p.Name }))
	h := c.policy.WatchEveryH / (1 + worse + use*(1+p.SnapsPerHour/snapsPerUnit) + p.FatigueShare.Mid/p.Hours/fatiguePerUnit)
	if g := c.request.Gear; g == nil || !g.Chafe {
		h *= unguarded
	}
	h = math.Max(shortestWatchH, math.Floor(h/shortestWatchH)*shortestWatchH)
	return math.Min(h, c.policy.WatchEveryH)
}

// stretch is one spell of a phase in the order of time.
type stretch struct {
	Span
	phase int
}

// stretches are the phases in the order of time, from a time to another. The first reaches back to the beginning.
func (c *computation) stretches(from, until time.Time) []stretch {
	var all []stretch
	for i, p := range c.plan.Phases {
		for _, s := range p.Spans {
			all = append(all, stretch{s, i})
		}
	}
	slices.SortFunc(all, func(a, b stretch) int { return a.From.Compare(b.From) })
	all[0].From = earlier(from, all[0].From)
	kept := all[:0]
	for _, s := range all {
		s.Span = Span{later(from, s.From), earlier(until, s.Until)}
		if s.Until.After(s.From) {
			kept = append(kept, s)
		}
	}
	return kept
}

// lieHours writes the watch of each stretch she lies through, and what is done with the rode between them. A longer
// rode goes out before the stretch that needs it, which then begins for the watch.
func (c *computation) lieHours(t *timetable) {
	end := t.course.ends
	if t.window != nil {
		end = t.window.From
	}
	all := c.stretches(t.settle.From, end)
	out := make([]float64, len(all))
	for i := range all {
		if i == 0 {
			out[0] = t.payOutM
			if c.request.Lying != nil {
				var h Hour
				h, out[0] = c.atOnce(t, all[0])
				t.hours = append(t.hours, h)
			}
			continue
		}
		var h Hour
		h, out[i] = c.change(t, all[i:], c.plan.Phases[all[i-1].phase], out[i-1])
		t.hours = append(t.hours, h)
		if out[i] > out[i-1] {
			all[i].From = *h.From
		}
	}
	for i, s := range all {
		if i+1 < len(all) {
			s.Until = all[i+1].From
		}
		if s.Until.After(s.From) {
			c.watchHour(t, s, out[i])
		}
	}
}

func (c *computation) watchHour(t *timetable, s stretch, out float64) {
	p := c.plan.Phases[s.phase]
	every := c.watchEveryH(p)
	text := fmt.Sprintf("%s: %.0f m out. Look at rode, fairlead and strong point every %s, and shift the nip each time.%s", upper(words(p.Name)), out, everyText(every), t.fromShelter(s.Span))
	if t.unsafe {
		text = "If she is lying to it already. " + text
	}
	t.add(Hour{
		Action: "watch", PayOutM: &out, EveryH: &every, Verdict: inTime, Text: text,
		Why: fmt.Sprintf("Peak %s kN, %.0f %% of the weakest part; the rode snaps taut about %.0f times an hour.%s", kilo(p.DesignPeakN), 100*p.DesignPeakN/c.capacityN, p.SnapsPerHour, c.guardText()),
	}, s.Span)
}

func (c *computation) guardText() string {
	if g := c.request.Gear; g == nil || !g.Chafe {
		return " Nothing made for the fairlead is carried, so the interval is halved."
	}
	return ""
}

// firstPayOutM is the rode to have out when she begins to lie: that of the phase then, and of those for which it would have to be
// paid out again before she has settled.
func (c *computation) firstPayOutM(t *timetable) float64 {
	out := 0.0
	for i, s := range c.stretches(t.settle.From, t.course.ends) {
		if i > 0 && t.deckUntil(s.From).Add(-inHours(adjustTakesH)).After(t.settle.Until) {
			break
		}
		out = math.Max(out, c.plan.Phases[s.phase].PayOutM)
	}
	if out == 0 { // she lies after the forecast's end
		return c.paid(c.worst)
	}
	return out
}

// fromShelter is said where the wind forbids work on deck.
func (t *timetable) fromShelter(s Span) string {
	kt := t.policy.NoDeckAboveKt
	at, passes := t.course.passed(s.From, windPasses(kt), gustPasses(kt))
	if !passes || !at.Before(s.Until) {
		return ""
	}
	return fmt.Sprintf(" In wind or gusts of %.0f kt look from shelter, by torch; forward only to save the rode, clipped on, one watching the other.", kt)
}

func everyText(h float64) string {
	if h < 1 {
		return fmt.Sprintf("%.0f min", 60*h)
	}
	return fmt.Sprintf("%.1f h", h)
}

// change says what is done with the rode as one phase becomes the next, and gives what is out then.
func (c *computation) change(t *timetable, rest []stretch, before Phase, out float64) (Hour, float64) {
	at, p := rest[0].From, c.plan.Phases[rest[0].phase]
	h := Hour{Action: "hold", Verdict: inTime, Why: fmt.Sprintf("The %s becomes %s %s: %s.", words(before.Name), words(p.Name), clock(at), t.state(at))}
	span := rest[0].Span
	switch {
	case p.PayOutM > out+notWorthShifting:
		h.Action = "adjust"
		by := later(t.settle.From, t.deckUntil(at))
		span = Span{later(t.settle.From, by.Add(-inHours(adjustTakesH))), by}
		if c.request.Lying != nil && by.Sub(t.settle.From) < inHours(adjustTakesH) {
			return t.placed(t.tooLateToPayOut(h, out, p.PayOutM), Span{at, at}), out
		}
		h.Text = fmt.Sprintf("Pay out from %.0f m to %.0f m before the %s.", out, p.PayOutM, words(p.Name)) + t.darkText(span)
		out = p.PayOutM
	case p.PayOutM < out-notWorthShifting && p.Name == classes[0].name && !c.needsLater(rest[1:], out):
		h.Action = "adjust"
		span.Until = earlier(at.Add(inHours(adjustTakesH)), span.Until)
		h.Text = fmt.Sprintf("%.0f m is enough from here on. Shorten only with the rode slack, under power or on the windlass; leaving %.0f m out harms nothing.", p.PayOutM, out)
		out = p.PayOutM
	default:
		h.Text = fmt.Sprintf("Keep %.0f m out.", out)
		switch {
		case p.PayOutM >= out-notWorthShifting:
		case c.needsLater(rest[1:], out):
			h.Text += " Less would do for now, but it is needed again."
		default:
			h.Text += fmt.Sprintf(" %.0f m would do, but shortening is work at a loaded rode for little: leave it until the calm, or until she is brought back.", p.PayOutM)
		}
	}
	h.PayOutM = &out
	return t.placed(h, span), out
}

// deckUntil is the last time up to one given at which the wind still allows work on deck.
func (t *timetable) deckUntil(at time.Time) time.Time {
	wind, gust := windPasses(t.policy.NoDeckAboveKt), gustPasses(t.policy.NoDeckAboveKt)
	for from := t.settle.From; ; {
		passed, ok := t.course.passed(from, wind, gust)
		if !ok || passed.After(at) {
			return at
		}
		lull, ok := t.course.below(passed, adjustTakesH, wind, gust)
		if !ok || lull.From.After(at) {
			return passed
		}
		from = lull.Until
		if !from.Before(at) {
			return at
		}
	}
}

// needsLater tells whether a later stretch needs as much rode as is out.
func (c *computation) needsLater(rest []stretch, out float64) bool {
	for _, s := range rest {
		if c.plan.Phases[s.phase].PayOutM >= out-notWorthShifting {
			return true
		}
	}
	return false
}

// findWindow finds when the sea allows retrieval: after the worst, if the limits are passed at all and she does not lie
// there by choice.
func (t *timetable) findWindow(worst time.Time) {
	wind, sea := windPasses(t.policy.RetrieveBelowKt), seaPasses(t.policy.RetrieveBelowHsM)
	from := t.settle.Until
	if _, rough := t.course.passed(from, wind, sea); rough && !t.chosen() {
		from = later(from, worst)
	}
	if w, ok := t.course.below(from, settledForH, wind, sea); ok {
		t.window = &Span{w.From.UTC(), w.Until.UTC()}
	}
}

func (t *timetable) sayRetrieve() {
	p := t.policy
	limits := fmt.Sprintf("wind below %.0f kt and sea below %.1f m", p.RetrieveBelowKt, p.RetrieveBelowHsM)
	h := Hour{Action: "retrieve", Verdict: notBefore, Why: fmt.Sprintf("The limits for it are %s, for at least %.0f h or to the forecast's end.", limits, settledForH)}
	if t.window == nil {
		h.Verdict, h.Light = notInForecast, lightUnknown
		h.Text = fmt.Sprintf("Never safe to retrieve before the forecast's end, %s: %s is not forecast after the worst. Stay on it, and look again with the next forecast.", clock(t.course.ends), limits)
		if !t.settle.Until.Before(t.course.ends) {
			h.Text = fmt.Sprintf("The forecast ends %s, before she has settled: it does not say when it is safe to retrieve. Get the next one first.", clock(t.course.ends))
		}
		t.hours = append(t.hours, h)
		return
	}
	w := *t.window
	h.Text = fmt.Sprintf("Never safe to retrieve before %s.", clock(w.From))
	if !w.From.After(t.settle.Until) {
		h.Verdict, h.Text = inTime, "Retrieve when you choose."
	}
	if w.Until.Before(t.course.ends) {
		h.Text += fmt.Sprintf(" Be done by %s: then the limits are passed again.", clock(w.Until))
	}
	switch day, ok := t.light.firstDay(w.From, w.Until, inHours(retrieveTakesH)); {
	case !t.light.known():
	case !ok:
		h.Text += " There is no daylight in that time: wait for it, or lamps on everything."
	case day.From.After(w.From):
		h.Text += fmt.Sprintf(" It is dark or dusk then; wait for daylight, %s.", clock(day.From))
		w = day
	case day.Until.Before(w.Until):
		h.Text += fmt.Sprintf(" Daylight ends %s.", clock(day.Until))
		w = day
	}
	t.add(h, w)
}

// warnOfHours repeats as warnings what must not be missed.
func (c *computation) warnOfHours(t *timetable) {
	for _, h := range t.hours {
		switch {
		case h.Verdict == tooLate && (h.Action == "rig" || h.Action == "deploy" || h.Action == "adjust"):
			c.book.warn("too_late_to_"+h.Action, "%s", h.Text)
		case h.Action == "retrieve" && h.Verdict == notInForecast:
			c.book.warn("no_retrieval_in_forecast", "%s", h.Text)
		}
	}
}
